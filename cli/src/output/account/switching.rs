//! Switching energies of a run: the first of each device one by one, all of them in sums.

use joulestep_engine::recorder::Switching;

/// Turn-ons and turn-offs of a device that are listed one by one.
const LISTED: usize = 4;

/// What is told of switching energies.
pub const DEFINITION: &str = "E_on: ∫ v·i dt from i = 10 % of I to v = 10 % of V; E_off: from v = 10 % of V to i = 10 % of I \
                              (IEC 60747-8). At the edge V is the voltage over both devices of the leg and I the current \
                              that leaves between them; of a device alone, what it blocks and carries";

/// A turn-on or turn-off.
#[derive(Clone, Debug, PartialEq)]
pub struct OneSwitching {
    /// The device.
    pub device: String,
    /// "turn-on" or "turn-off".
    pub kind: &'static str,
    /// When its drive begins to move the gate, s.
    pub time: f64,
    /// Voltage that is switched, V.
    pub voltage: f64,
    /// Current that is switched, A.
    pub current: f64,
    /// J; not finite where there is none.
    pub energy: f64,
    /// Why there is no energy; empty where there is one.
    pub reason: String,
}

/// All turn-ons, or all turn-offs, of a device.
#[derive(Clone, Debug, PartialEq)]
pub struct AllSwitching {
    /// The device.
    pub device: String,
    /// "turn-on" or "turn-off".
    pub kind: &'static str,
    /// How many there were.
    pub count: u64,
    /// Of how many there is an energy.
    pub measured: u64,
    /// Sum of these, J.
    pub total: f64,
    /// The least, J; not finite where there is none.
    pub least: f64,
    /// The largest, J.
    pub largest: f64,
    /// Why the first without an energy has none; empty where all have one.
    pub reason: String,
}

/// Switching energies of a run; how many events it has does not matter to the memory they need.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SwitchingEnergies {
    /// The first of each device.
    pub first: Vec<OneSwitching>,
    /// All of each device.
    pub all: Vec<AllSwitching>,
}

impl SwitchingEnergies {
    /// One more.
    pub fn push(&mut self, s: &Switching) {
        let (device, kind) = (s.device.clone(), s.kind());
        let listed = self.first.iter().filter(|f| f.device == device && f.kind == kind).count();
        if listed < LISTED {
            let (time, reason) = (s.edge, s.reason.clone());
            let (voltage, current, energy) = (s.voltage, s.current, s.energy);
            let device = device.clone();
            self.first.push(OneSwitching { device, kind, time, voltage, current, energy, reason });
        }
        let k = self.all.iter().position(|a| a.device == device && a.kind == kind).unwrap_or_else(|| {
            self.all.push(AllSwitching {
                device,
                kind,
                count: 0,
                measured: 0,
                total: 0.0,
                least: f64::NAN,
                largest: f64::NAN,
                reason: String::new(),
            });
            self.all.len() - 1
        });
        let all = &mut self.all[k];
        all.count += 1;
        if s.energy.is_finite() {
            all.measured += 1;
            all.total += s.energy;
            (all.least, all.largest) = (all.least.min(s.energy), all.largest.max(s.energy));
        } else if all.reason.is_empty() {
            all.reason.clone_from(&s.reason);
        }
    }

    /// In order of devices, with those that turn on before those that turn off.
    pub fn sorted(mut self) -> Self {
        self.first.sort_by(|a, b| a.time.total_cmp(&b.time));
        self.all.sort_by(|a, b| (&a.device, b.kind).cmp(&(&b.device, a.kind)));
        self
    }
}

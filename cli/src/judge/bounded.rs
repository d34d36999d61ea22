//! What of a run a limit bounds.

/// What of a run a limit bounds: the words of a scenario's `kind`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Bounded {
    /// A signal at every instant.
    #[default]
    Signal,
    /// How often a protection trips.
    Trips,
    /// How often it tries again.
    Retries,
    /// How often it locks out.
    LockOuts,
    /// How long faults last until it has cleared them.
    ClearingTime,
    /// I²t that it lets through.
    LetThrough,
    /// Heat of a component within an interval.
    Energy,
    /// Time for which a signal is above a level.
    TimeAbove,
    /// Energy of an avalanche of a die, as a part rates it.
    AvalancheEnergy,
    /// Current of an avalanche of a die.
    AvalancheCurrent,
    /// Energy of surges that its mean power has not carried off, as a part rates it.
    SurgeEnergy,
}

impl Bounded {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::Signal,
        Self::Trips,
        Self::Retries,
        Self::LockOuts,
        Self::ClearingTime,
        Self::LetThrough,
        Self::Energy,
        Self::TimeAbove,
        Self::AvalancheEnergy,
        Self::AvalancheCurrent,
        Self::SurgeEnergy,
    ];

    /// The word in scenarios and files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Signal => "signal",
            Self::Trips => "trips",
            Self::Retries => "retries",
            Self::LockOuts => "lock-outs",
            Self::ClearingTime => "clearing-time",
            Self::LetThrough => "let-through",
            Self::Energy => "energy",
            Self::TimeAbove => "time-above",
            Self::AvalancheEnergy => "avalanche-energy",
            Self::AvalancheCurrent => "avalanche-current",
            Self::SurgeEnergy => "surge-energy",
        }
    }

    /// By its word; an unknown one bounds a signal.
    pub fn of_word(word: &str) -> Self {
        Self::ALL.into_iter().find(|b| b.word() == word).unwrap_or_default()
    }

    /// Unit symbol; `None`: that of the signal.
    pub fn unit(self) -> Option<&'static str> {
        match self {
            Self::Signal => None,
            Self::Trips | Self::Retries | Self::LockOuts => Some("1"),
            Self::ClearingTime | Self::TimeAbove => Some("s"),
            Self::LetThrough => Some("A^2 s"),
            Self::Energy | Self::AvalancheEnergy | Self::SurgeEnergy => Some("J"),
            Self::AvalancheCurrent => Some("A"),
        }
    }

    /// Whether it counts events.
    pub fn is_count(self) -> bool {
        matches!(self, Self::Trips | Self::Retries | Self::LockOuts)
    }

    /// What is meant, for people; empty of a signal.
    pub fn definition(self) -> &'static str {
        match self {
            Self::Signal => "",
            Self::Trips => "number of trips of the protection within the interval",
            Self::Retries => "number of tries after a trip within the interval",
            Self::LockOuts => {
                "number of times that the protection allows no further try, within the interval"
            }
            Self::ClearingTime => {
                "from the start of a fault (an event with `fault = true`, or a retry while that fault stands) until the \
                 protection's current is below a tenth of its threshold"
            }
            Self::LetThrough => {
                "∫ i² dt of a current from the start of a fault until the protection has cleared it"
            }
            Self::Energy => "heat of a component within the interval",
            Self::TimeAbove => "time for which the signal is above the level within the interval",
            Self::AvalancheEnergy => {
                "heat of a die while its voltage is above its breakdown voltage at its temperature, the largest of all \
                 such times (JESD24-5); referred to the junction temperature T_0 of the rating: times \
                 ((T_max − T_0)/(T_max − T_j))², with T_j at its start"
            }
            Self::AvalancheCurrent => {
                "largest current of a die while its voltage is above its breakdown voltage at its temperature"
            }
            Self::SurgeEnergy => {
                "heat of surges that the rated mean power, where one is stated, has not carried off yet, the most of it; \
                 held against the energy of one surge (IEC 61051-1)"
            }
        }
    }
}

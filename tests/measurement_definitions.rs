//! Measurements by published definitions, against closed forms whose numbers were computed independently (mpmath,
//! SciPy).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::measure::MeasureError;
use joulestep_engine::measure::recovery::{Record, recovery};
use joulestep_engine::measure::signal::Signal;
use joulestep_engine::measure::switching::{Levels, Rules, Switching, Waveforms, turn_off, turn_on};
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::bounds::Bounds;
use joulestep_models::model::{Value, Values};

use crate::common::ref1::{Duty, ref1};
use crate::common::rig::{channel, column, near, supply, v};

/// A record of nothing but a current.
fn record(forward: Signal<'_>) -> Record<'_> {
    Record { forward, charge: None, work: None }
}

/// Samples of a function, dense enough that straight lines between them lose nothing.
fn sampled(to: f64, n: usize, f: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
    let time: Vec<f64> = (0..=n).map(|k| to * k as f64 / n as f64).collect();
    let values = time.iter().map(|&t| f(t)).collect();
    (time, values)
}

/// Rise and fall time as in IEC 60747-8/-9 and JESD77 (from memory; closed forms): an exponential needs
/// τ·ln 9 from 10 % to 90 %, a ramp of duration T 0.8·T.
#[test]
fn rise_time_of_an_exponential_and_of_a_ramp() {
    for (tau, duration, exponential, ramp) in
        [(1e-8, 2e-8, 2.19722457733622e-08, 1.6e-08), (1e-6, 1e-7, 2.19722457733622e-06, 8e-08)]
    {
        let (t, v) = sampled(10.0 * tau, 200_000, |t| 1.0 - (-t / tau).exp());
        let s = Signal::new(&t, &v).unwrap();
        let time = s.rises_to(0.9, 0.0).unwrap() - s.rises_to(0.1, 0.0).unwrap();
        near("exponential", time, exponential, 1e-6);
        let (t, v) = sampled(2.0 * duration, 1000, |t| (t / duration).min(1.0));
        let s = Signal::new(&t, &v).unwrap();
        near("ramp", s.rises_to(0.9, 0.0).unwrap() - s.rises_to(0.1, 0.0).unwrap(), ramp, 1e-6);
    }
}

/// Turn-off energy of an idealised waveform under the limits of IEC 60747-8 and -9 (from memory; integrals derived).
/// Voltage rises in a line, then the current falls in a line to a tail that decays.
#[test]
fn turn_off_energy_under_different_limits() {
    struct Case(f64, f64, f64, f64, f64, f64, [f64; 3]);
    for Case(volts, amperes, rise, fall, k, tau, [full, to_two, to_ten]) in [
        Case(400.0, 20.0, 2e-8, 1.5e-8, 0.05, 4e-8, [0.000159, 0.0001518, 0.000141726315789474]),
        Case(600.0, 100.0, 5e-8, 4e-8, 0.15, 3e-7, [0.00558, 0.005205, 0.003765]),
    ] {
        let voltage = |t: f64| volts * (t / rise).clamp(0.0, 1.0);
        let current = |t: f64| {
            let s = t - rise;
            if s <= 0.0 {
                amperes
            } else if s < fall {
                amperes * (1.0 - (1.0 - k) * s / fall)
            } else {
                amperes * k * (-(s - fall) / tau).exp()
            }
        };
        let end = rise + fall + 25.0 * tau;
        let (time, v) = sampled(end, 400_000, voltage);
        let i: Vec<f64> = time.iter().map(|&t| current(t)).collect();
        // The gate passes 90 % where the voltage passes 10 %, so that both rules begin there, as the vector has it.
        let gate: Vec<f64> = time.iter().map(|&t| 12.0 * (1.0 - t / rise).max(0.0)).collect();
        let signal = |x| Signal::new(&time, x).unwrap();
        let w = Waveforms { gate: signal(&gate), voltage: signal(&v), current: signal(&i), work: None };
        let levels = Levels { voltage: volts, current: amperes, gate_off: 0.0, gate_on: 12.0 };
        let by = |rules| turn_off(&w, levels, 0.0, end, rules).unwrap();
        near("from 10 % of v to 2 % of i", by(Rules::Igbt).energy, to_two, 1e-4);
        near("from 10 % of v to 10 % of i", by(Rules::Fet).energy, to_ten, 1e-4);
        near("whole", by(Rules::Fet).whole, full, 1e-4);
        // Two straight slopes, known at once.
        let Switching { voltage_slope, .. } = by(Rules::Fet);
        near("dv/dt", voltage_slope, volts / rise, 1e-3);
    }
}

/// t_rr and Q_rr may end at a stated current (JEDEC dictionary, JESD77-B, JESD282-B): a ramp to I_RM,
/// then an exponential, under each convention.
#[test]
fn recovery_under_different_end_points() {
    struct Case(f64, f64, f64, [f64; 4], [f64; 3]);
    for Case(peak, a, tau, charges, times) in [
        Case(
            12.0,
            1e9,
            1.5e-8,
            [2.52e-07, 2.07e-07, 2.34e-07, 2.484e-07],
            [3.27944154167984e-08, 4.65387763949107e-08, 4.01844183713872e-08],
        ),
        Case(
            5.0,
            3e8,
            4e-8,
            [2.41666666666667e-07, 1.91666666666667e-07, 2.21666666666667e-07, 2.37666666666667e-07],
            [7.21184411114623e-08, 1.08770070386428e-07, 9.18251156570325e-08],
        ),
    ] {
        let top = peak / a;
        // Half the time before zero, then the ramp and 30 time constants; a sample stands on the peak.
        let mut time: Vec<f64> = (0..=1000).map(|k| -top + 2.0 * top * f64::from(k) / 1000.0).collect();
        time.extend((1..=300_000).map(|k| top + 30.0 * tau * f64::from(k) / 300_000.0));
        let shape = |t: f64| if t <= top { -a * t } else { -peak * (-(t - top) / tau).exp() };
        let i: Vec<f64> = time.iter().map(|&t| shape(t)).collect();
        let s = Signal::new(&time, &i).unwrap();
        let end = s.end();
        let by = |share: f64| recovery(&record(s), -top, end, share).unwrap();
        for (share, charge) in [0.0, 0.25, 0.1, 0.02].into_iter().zip(charges) {
            near(&format!("charge to {share}"), by(share).charge, charge, 1e-6);
        }
        near("t_rr to 25 %", by(0.25).time, times[0], 1e-6);
        near("t_rr to 10 %", by(0.1).time, times[1], 1e-6);
        near("t_rr by the line", by(0.02).extrapolated, times[2], 1e-6);
        near("I_RM", by(0.02).peak.0, peak, 1e-9);
    }
}

/// Straight edges of a hard switched inductive load lose V·I·(t_ri + t_fv)/2 and V·I·(t_rv + t_fi)/2 (Mohan, Undeland &
/// Robbins, Power Electronics, sec. 2-3 and 21; Baliga; from memory).
#[test]
fn piecewise_linear_switching_loss() {
    for (volts, amperes, [tri, tfv, trv, tfi], charge, own, e_on, e_off) in [
        (400.0, 20.0, [1.5e-8, 1e-8, 1.2e-8, 8e-9], 8e-8, 9e-6, 0.000141, 8e-05),
        (48.0, 60.0, [6e-9, 4e-9, 5e-9, 5e-9], 4e-8, 1.2e-6, 1.752e-05, 1.44e-05),
    ] {
        let line = |t: f64, begin: f64, duration: f64| ((t - begin) / duration).clamp(0.0, 1.0);
        let (time, gate) = sampled(1e-7, 100_000, |t| 12.0 * line(t, 0.0, 1e-9));
        let v_on: Vec<f64> = time.iter().map(|&t| volts * (1.0 - line(t, 2e-9 + tri, tfv))).collect();
        let i_on: Vec<f64> = time.iter().map(|&t| amperes * line(t, 2e-9, tri)).collect();
        let v_off: Vec<f64> = time.iter().map(|&t| volts * line(t, 2e-9, trv)).collect();
        let i_off: Vec<f64> = time.iter().map(|&t| amperes * (1.0 - line(t, 2e-9 + trv, tfi))).collect();
        let down: Vec<f64> = gate.iter().map(|g| 12.0 - g).collect();
        let signal = |x| Signal::new(&time, x).unwrap();
        let levels = Levels { voltage: volts, current: amperes, gate_off: 0.0, gate_on: 12.0 };
        let w = Waveforms { gate: signal(&gate), voltage: signal(&v_on), current: signal(&i_on), work: None };
        let on = turn_on(&w, levels, 0.0, 1e-7, Rules::Igbt).unwrap();
        near("E_on with Q_rr and E_oss", on.whole + charge * volts + own, e_on, 1e-6);
        near("rise time", on.time, 0.8 * tri, 1e-6);
        let w =
            Waveforms { gate: signal(&down), voltage: signal(&v_off), current: signal(&i_off), work: None };
        let off = turn_off(&w, levels, 0.0, 1e-7, Rules::Fet).unwrap();
        near("E_off", off.whole, e_off, 1e-6);
        near("fall time", off.time, 0.8 * tfi, 1e-6);
        // 10 % of V to 10 % of I cuts V·I·(0.01·t_rv + 0.01·t_fi)/2 off the triangle (elementary).
        near("E_off by IEC 60747-8", off.energy, 0.99 * e_off, 1e-6);
    }
}

/// The measuring functions on a run of REF-1: energies, peaks and their instants of the reference solution (SUNDIALS
/// IDAS 6.4.1, rtol 3e-11), from samples as a recorder has them.
#[test]
fn reference_energies_from_samples() {
    let r = ref1::<f64>(Duty::DoublePulse).unwrap();
    let [_, switch, .., gate, source, inner] = r.nodes;
    let drain =
        Probe::Sum(vec![(1.0, Probe::Branch(r.inductors[0], 0)), (-50.0, Probe::Voltage(switch, inner))]);
    let channel = |name: &str, probe| Channel { name: name.into(), long_name: name.into(), probe };
    let mut setup = Setup::new(r.circuit);
    setup.steps.base = 1e-7;
    // What is checked is the measuring: the stepping's own error is kept well below it.
    setup.bounds = Bounds::stated(1e-3, 1e-3);
    setup.channels = vec![
        channel("gate", Probe::Voltage(gate, source)),
        channel("voltage", Probe::Voltage(switch, source)),
        channel("current", drain.clone()),
        channel("v2", Probe::Voltage(switch, joulestep_engine::circuit::graph::GROUND)),
        channel("work", Probe::Integral(0)),
    ];
    setup.integrals = vec![(Probe::Voltage(switch, source), drain)];
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    run.advance(r.end, &mut memory).unwrap();
    let columns: Vec<Vec<f64>> = (0..5).map(|k| column(&memory.samples, k)).collect();
    let signal = |k: usize| Signal::new(&memory.time, &columns[k]).unwrap();
    let w = Waveforms { gate: signal(0), voltage: signal(1), current: signal(2), work: Some(signal(4)) };
    let levels = |current| Levels { voltage: 400.0, current, gate_off: 0.0, gate_on: 12.0 };
    let off = turn_off(&w, levels(19.732959683), 2.2e-6, 3.2e-6, Rules::Fet).unwrap();
    let on = turn_on(&w, levels(20.0), 3.2e-6, 4.2e-6, Rules::Fet).unwrap();
    near("E_off", off.whole, 2.5520606779e-05, 1e-4);
    near("E_on", on.whole, 0.00011326611366, 1e-4);
    let (peak, at) = signal(3).largest(2.2e-6, 3.2e-6);
    near("peak voltage", peak, 488.660333, 1e-3);
    near("its instant", at, 2.2490536e-06, 5e-4);
    near("peak current", on.peak_current.0, 34.734581, 1e-3);
    near("its instant", on.peak_current.1, 3.2263295e-06, 5e-4);
}

/// Mean and rms of a current through a resistor, from the samples of a run: from the beginning of one period to the end
/// of a later one, so that the window's ends are jumps where the wave jumps there.
fn mean_and_rms(wave: Wave<f64>, period: f64, rectified: bool) -> [f64; 2] {
    let mut c = Circuit::new();
    let (plus, _) = supply(&mut c, "plus", wave);
    let mut out = plus;
    if rectified {
        out = c.node("out");
        let entry = joulestep_models::lookup::find("ideal-diode").unwrap();
        let mut values = Values::with_defaults(entry.params);
        for (key, x) in [("forward-voltage", 0.0), ("on-resistance", 1e-9), ("off-resistance", 1e9)] {
            values.0.insert(key, Value::Number(x));
        }
        (entry.build)(&mut c, "D", &[plus, out], &values).unwrap();
    }
    c.resistor("R", out, GROUND, 1.0).unwrap();
    let mut setup = Setup::new(c);
    setup.steps.base = period / 1000.0;
    setup.channels = vec![channel("i", v(out))];
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    run.advance(5.5 * period, &mut memory).unwrap();
    let i = column(&memory.samples, 0);
    let i = Signal::new(&memory.time, &i).unwrap();
    let (from, to) = (period, 4.0 * period);
    [i.integral(from, to) / (to - from), (i.product(&i, from, to) / (to - from)).sqrt()]
}

/// Mean and rms of the waveforms of switched converters (Erickson & Maksimović, Fundamentals of Power Electronics,
/// 2nd ed. 2001, appendix A, table A.1; from memory), each through a run with a periodic source.
#[test]
fn published_rms_values_of_waveforms_through_a_run() {
    let (top, period) = (11.93, 20e-6);
    for d in [0.27, 0.5, 0.041] {
        let wave = |points: &[(f64, f64)]| Wave::Periodic {
            period,
            points: points.iter().map(|p| (p.0 * period, p.1 * top)).collect(),
        };
        let all = [(0.0, 0.0), (1.0, 0.0)];
        let with = |inner: &[(f64, f64)]| wave(&[&all[..1], inner, &all[1..]].concat());
        // A ripple of ±30 % on the pulse.
        let r = 0.3;
        for (what, wave, mean, rms) in [
            ("pulse train", wave(&[(0.0, 1.0), (d, 1.0), (d, 0.0), (1.0, 0.0)]), d, d.sqrt()),
            (
                "pulse train that begins within the period",
                with(&[(0.3, 0.0), (0.3, 1.0), (0.3 + d, 1.0), (0.3 + d, 0.0)]),
                d,
                d.sqrt(),
            ),
            (
                "trapezoid",
                wave(&[(0.0, 1.0 - r), (d, 1.0 + r), (d, 0.0), (1.0, 0.0)]),
                d,
                (d * (1.0 + r * r / 3.0)).sqrt(),
            ),
            (
                "sawtooth with dead interval",
                wave(&[(0.0, 0.0), (d, 1.0), (d, 0.0), (1.0, 0.0)]),
                d / 2.0,
                (d / 3.0).sqrt(),
            ),
            ("triangle with dead interval", with(&[(d / 2.0, 1.0), (d, 0.0)]), d / 2.0, (d / 3.0).sqrt()),
            ("sawtooth", wave(&[(0.0, 0.0), (1.0, 1.0)]), 0.5, (1.0_f64 / 3.0).sqrt()),
            (
                "square wave of both signs",
                wave(&[(0.0, 1.0), (0.5, 1.0), (0.5, -1.0), (1.0, -1.0)]),
                0.0,
                1.0,
            ),
        ] {
            let [found_mean, found_rms] = mean_and_rms(wave, period, false);
            near(&format!("{what} {d}: rms"), found_rms, top * rms, 1e-9);
            near(&format!("{what} {d}: 1 + mean"), 1.0 + found_mean, 1.0 + top * mean, 1e-9);
        }
    }
}

/// Half-wave rectified sine: mean I/π, rms I/2 (the same table). Straight lines between a thousand samples a period
/// lose (2π/1000)²/12 = 3.3e-6.
#[test]
fn published_rms_value_of_a_half_wave_through_a_run() {
    let wave = Wave::Sine { offset: 0.0, amplitude: 11.93, frequency: 1.0 / 20e-6, phase: 0.0, delay: 0.0 };
    let [mean, rms] = mean_and_rms(wave, 20e-6, true);
    near("mean", mean, 11.93 / std::f64::consts::PI, 5e-6);
    near("rms", rms, 11.93 / 2.0, 5e-6);
}

#[test]
fn a_level_that_is_not_reached_is_named() {
    let (t, v) = sampled(1.0, 10, |t| t);
    let s = Signal::new(&t, &v).unwrap();
    let w = Waveforms { gate: s, voltage: s, current: s, work: None };
    let levels = Levels { voltage: 400.0, current: 20.0, gate_off: 0.0, gate_on: 12.0 };
    let error = turn_on(&w, levels, 0.0, 1.0, Rules::Fet).unwrap_err();
    assert!(matches!(error, MeasureError::NotReached { what: "the gate-source voltage", .. }), "{error}");
    let error = recovery(&record(s), 0.1, 1.0, 0.02).unwrap_err();
    assert!(error.to_string().contains("does not reach"), "{error}");
}

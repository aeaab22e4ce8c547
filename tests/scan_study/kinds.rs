//! Kinds of scans, good and spoilt, and what each must be called.

use plumbeam::scan::{ScanAxis, ScanVerdict};
use plumbeam::simulate::{ScanPlan, Signal, Way};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::emitter;

/// A kind of scan.
pub struct Kind {
    pub name: &'static str,
    /// Makes up a plan.
    pub make: fn(&mut ChaCha8Rng) -> (ScanPlan, Signal),
    /// Words of which one must stand in the reasons; none for a scan that must be good.
    pub called: &'static [&'static str],
    /// Part of them that must be judged so.
    pub told: f64,
}

/// All but the odd one.
const NEARLY_ALL: f64 = 0.95;
/// Noise that is smooth by itself passes for a misfit at times.
const MOST: f64 = 0.85;
/// Two emitters in one beam look like one wide one, or along some directions not even that.
const HALF: f64 = 0.5;

impl Kind {
    /// Whether a scan of this kind was judged as it must be.
    pub fn is_judged_well(&self, verdict: ScanVerdict, why: &str) -> bool {
        match self.called {
            [] => verdict == ScanVerdict::Good,
            words => verdict != ScanVerdict::Good && words.iter().any(|w| why.contains(w)),
        }
    }
}

/// Any shape, its middle within a quarter beamwidth of the emitter.
pub fn any_way(rng: &mut ChaCha8Rng) -> ScanPlan {
    let plan = ScanPlan {
        emitter: emitter(rng),
        ..ScanPlan::default()
    };
    let mut off = || rng.random_range(-0.25..0.25);
    let centre = (off(), off());
    match rng.random_range(0..4) {
        0 => ScanPlan {
            way: Way::Cut(ScanAxis::Azimuth),
            centre: (centre.0, 0.0),
            ..plan
        },
        1 => ScanPlan {
            way: Way::Cut(ScanAxis::Elevation),
            centre: (0.0, centre.1),
            ..plan
        },
        2 => ScanPlan {
            way: Way::Raster { rows: 9 },
            samples: 41,
            speed_deg_s: 1.14,
            half_length: 1.3,
            centre,
            ..plan
        },
        _ => ScanPlan { centre, ..plan },
    }
}

/// A cut along azimuth whose middle lies so many beamwidths from the emitter.
fn cut(rng: &mut ChaCha8Rng, half_length: f64, centre: f64) -> ScanPlan {
    let side = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
    let axis = if rng.random_bool(0.7) {
        ScanAxis::Azimuth
    } else {
        ScanAxis::Elevation
    };
    ScanPlan {
        emitter: emitter(rng),
        way: Way::Cut(axis),
        half_length,
        centre: match axis {
            ScanAxis::Azimuth => (side * centre, 0.0),
            ScanAxis::Elevation => (0.0, side * centre),
        },
        backward: rng.random_bool(0.5),
        ..ScanPlan::default()
    }
}

/// From 10 to 100, evenly in its logarithm.
pub fn strong(rng: &mut ChaCha8Rng) -> Signal {
    Signal {
        signal_to_noise: 10f64.powf(rng.random_range(1.0..2.0)),
        ..Signal::default()
    }
}

/// All kinds.
pub fn kinds() -> Vec<Kind> {
    let kind = |name: &'static str, called, make| Kind {
        name,
        make,
        called,
        told: match name {
            n if n.contains("two emitters") => HALF,
            n if n.contains("memory") => MOST,
            _ => NEARLY_ALL,
        },
    };
    vec![
        kind("good", &[], |rng| (any_way(rng), strong(rng))),
        kind("there and back, two to six passes", &[], |rng| {
            let mut plan = any_way(rng);
            while matches!(plan.way, Way::Raster { .. }) {
                plan = any_way(rng);
            }
            plan.repeats = rng.random_range(2..=6);
            (plan, strong(rng))
        }),
        kind("faint, signal to noise 6", &[], |rng| {
            let signal = Signal {
                signal_to_noise: 6.0,
                ..Signal::default()
            };
            (any_way(rng), signal)
        }),
        kind("one to five spikes", &[], |rng| {
            let signal = Signal {
                spikes: rng.random_range(1..6),
                ..strong(rng)
            };
            (any_way(rng), signal)
        }),
        kind("drift of half the signal", &[], |rng| {
            let signal = Signal {
                drift: if rng.random_bool(0.5) { 0.5 } else { -0.5 },
                ..strong(rng)
            };
            (any_way(rng), signal)
        }),
        kind("gain that drifts by 10 %", &[], |rng| {
            let signal = Signal {
                gain_drift: rng.random_range(-0.1..0.1),
                ..strong(rng)
            };
            (any_way(rng), signal)
        }),
        kind("baseline bent by a third", &[], |rng| {
            let signal = Signal {
                bend: 0.3,
                ..strong(rng)
            };
            (any_way(rng), signal)
        }),
        kind("noise with a memory", &[], |rng| {
            let signal = Signal {
                memory: 0.5,
                ..strong(rng)
            };
            (any_way(rng), signal)
        }),
        kind("drift of 1.5 to 5 times the signal", &["drift"], |rng| {
            let drift = rng.random_range(1.5..5.0);
            let signal = Signal {
                drift: if rng.random_bool(0.5) { drift } else { -drift },
                baseline: 4.0,
                ..strong(rng)
            };
            // Of a raster the whole, of a cross each pass takes its part of the drift.
            (any_way(rng), signal)
        }),
        kind("clipped at 30 to 80 %", &["flat top"], |rng| {
            let signal = Signal {
                signal_to_noise: rng.random_range(20.0..100.0),
                clipped_at: Some(rng.random_range(0.3..0.8)),
                ..Signal::default()
            };
            (any_way(rng), signal)
        }),
        kind(
            "one flank",
            &["only one flank", "no signal", "too little"],
            |rng| {
                let beyond = rng.random_range(0.1..0.6);
                (cut(rng, 0.9, 0.9 + beyond), strong(rng))
            },
        ),
        kind("the end on the peak", &["only one flank"], |rng| {
            let inside = rng.random_range(-0.1..0.15);
            (cut(rng, 1.0, 1.0 - inside), strong(rng))
        }),
        kind("clipped at 45 % of the signal", &["flat top"], |rng| {
            let signal = Signal {
                clipped_at: Some(0.45),
                ..Signal::default()
            };
            (any_way(rng), signal)
        }),
        kind("sidelobe in the middle of a cut", &["sidelobe"], |rng| {
            let signal = Signal {
                signal_to_noise: 300.0,
                ..Signal::default()
            };
            (cut(rng, 0.6, 1.615), signal)
        }),
        kind("sidelobe alone", &["sidelobe", "no signal"], |rng| {
            let signal = Signal {
                signal_to_noise: rng.random_range(200.0..600.0),
                ..Signal::default()
            };
            let centre = rng.random_range(1.55..1.7);
            (cut(rng, 0.6, centre), signal)
        }),
        kind("no signal at all", &["no signal"], |rng| {
            let signal = Signal {
                signal_to_noise: 0.0,
                ..Signal::default()
            };
            (any_way(rng), signal)
        }),
        kind(
            "two emitters half a beam apart",
            &["two emitters", "another"],
            |rng| with_neighbour(rng, 0.45, 0.6),
        ),
        kind(
            "two emitters 0.8 to 1.5 beams apart",
            &["two emitters", "another"],
            |rng| with_neighbour(rng, 0.8, 1.5),
        ),
    ]
}

/// Two emitters so far apart along the scan, the weaker half to nine tenths as strong.
fn with_neighbour(rng: &mut ChaCha8Rng, from: f64, to: f64) -> (ScanPlan, Signal) {
    let plan = any_way(rng);
    let apart = rng.random_range(from..to);
    let (s, c) = match plan.way {
        Way::Cut(ScanAxis::Azimuth) => (0.0, 1.0),
        Way::Cut(ScanAxis::Elevation) => (1.0, 0.0),
        _ => rng.random_range(0.0..std::f64::consts::TAU).sin_cos(),
    };
    let signal = Signal {
        signal_to_noise: rng.random_range(30.0..100.0),
        neighbour: Some((apart * c, apart * s, rng.random_range(0.5..0.9))),
        ..Signal::default()
    };
    (plan, signal)
}

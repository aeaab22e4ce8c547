//! Random clients on a random mount: whatever they send, the promises hold.

use plumbeam::live::{Operator, RelaySettings};
use plumbeam::mount::Term;
use plumbeam::table::DemandKind;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::mount::{Fault, Mount};
use super::rig::{Rig, model, seconds, settings};

/// A reading that decides is up to a second old when the mount was idle; it then stood.
const ROUNDING: f64 = 1e-6;

fn line(rng: &mut ChaCha8Rng) -> String {
    let (az, el) = (
        rng.random_range(-200.0..560.0),
        rng.random_range(-5.0..95.0),
    );
    match rng.random_range(0..16) {
        0..7 => format!("P {az:.2} {el:.2}\n"),
        7 => "S\n".to_owned(),
        8 => "K\n".to_owned(),
        9 => "M 8 50\n".to_owned(),
        10 => "P nan 5\n".to_owned(),
        11 => "P 1e300 -1e300\n".to_owned(),
        12 => "\\dump_state\n".to_owned(),
        _ => "p\n".to_owned(),
    }
}

#[test]
fn nothing_moves_after_a_stop_until_a_new_demand() {
    for seed in 0..60 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let full = model(
            &[
                (Term::AzimuthZero, rng.random_range(-20.0..20.0)),
                (Term::TiltEast, rng.random_range(-2.0..2.0)),
            ],
            DemandKind::Apparent,
        );
        let settings = RelaySettings {
            allow_move: true,
            park: Some(plumbeam::live::Axes::from_degrees(0.0, 80.0)),
            own_stop: rng.random_bool(0.5),
            ..settings()
        };
        let mut rig = Rig::new(settings, full, Mount::new(10.0, 30.0)).ready();
        rig.open(1);
        rig.open(2);
        if rng.random_bool(0.3) {
            rig.mount.faults = vec![Fault::Slow(seconds(rng.random_range(0.0..1.5)))];
        }
        let mut stopped = false;
        let mut sent = rig.mount.targets.len();
        for _ in 0..120 {
            let client = rng.random_range(1..=2);
            let line = line(&mut rng);
            rig.send(client, &line);
            let is_demand = line.starts_with(['P', 'K', 'M']);
            if line.starts_with('S') {
                stopped = true;
            } else if is_demand {
                stopped = false;
            }
            if rng.random_bool(0.02) {
                rig.operator(Operator::Stop);
                stopped = true;
                sent = rig.mount.targets.len();
                rig.run(1.0);
                assert_eq!(rig.mount.targets.len(), sent, "seed {seed}");
                rig.operator(Operator::Acknowledge);
            }
            if stopped {
                sent = rig.mount.targets.len();
            }
            rig.run(rng.random_range(0.0..1.2));
            if stopped {
                assert_eq!(rig.mount.targets.len(), sent, "seed {seed}: after {line:?}");
            }
        }
        for target in &rig.mount.targets {
            let [one, two] = target.target;
            assert!((-180.0..=540.0).contains(&one) && (0.0..=90.0).contains(&two));
        }
        assert!(rig.mount.other.is_empty());
        // Every command was answered.
        rig.run(4.0);
        assert!(rig.read(1).lines().count() > 30);
    }
}

#[test]
fn a_mount_that_answers_at_once_is_never_led_farther_than_the_leash() {
    for seed in 100..130 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let full = model(&[], DemandKind::Apparent);
        let mut rig = Rig::new(settings(), full, Mount::new(10.0, 30.0)).ready();
        rig.open(1);
        for _ in 0..60 {
            let text = line(&mut rng);
            rig.send(1, &text);
            rig.run(rng.random_range(0.2..3.0));
        }
        for target in &rig.mount.targets {
            let ahead = (target.target[0] - target.from[0])
                .abs()
                .max((target.target[1] - target.from[1]).abs());
            // Since the reading by which it was decided the axes went on for up to a poll; its
            // hundredths are rounded.
            assert!(
                ahead < 10.0 + 0.006 + 6.0 * 0.21 + ROUNDING,
                "seed {seed}: {target:?}"
            );
        }
    }
}

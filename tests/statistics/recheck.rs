//! A little of the study behind docs/recheck.md: is a mount that did not move called moved less
//! than 2 times in 100, and one that did more than 95?

use crate::study::again::{After, Before, Size};
use crate::study::{Recipe, session};
use plumbeam::recheck::{ChangeKind, RecheckVerdict};
use plumbeam::solve::Options;

/// Made-up mounts here; the whole study has 400.
const MOUNTS: u64 = 30;
/// New peaks.
const PEAKS: [usize; 2] = [3, 6];

/// Old calibrations as people have them: 40 peaks, any sky, any beam.
fn befores() -> Vec<Before> {
    let recipe = Recipe {
        peaks: Some(40),
        bad_share: 0.0,
        alike: false,
    };
    (0..MOUNTS)
        .filter_map(|n| Before::of(session(n, recipe), n, &Options::default()))
        .collect()
}

/// Of all answers: how many moved, how many cannot tell, how many with the right kind named or
/// nearly as likely.
fn count(befores: &[Before], kind: ChangeKind, size: Size) -> [usize; 4] {
    let mut counts = [0; 4];
    for before in befores {
        for peaks in PEAKS {
            let after = After {
                kind,
                size,
                peaks,
                wide: false,
            };
            let found = before.again(&after).expect("new peaks can be used");
            let near = (found.rivals.iter()).any(|(k, d)| *k == kind && *d < 2.0);
            counts[0] += 1;
            counts[1] += usize::from(found.verdict == RecheckVerdict::Moved);
            counts[2] += usize::from(matches!(found.verdict, RecheckVerdict::CannotTell(_)));
            counts[3] += usize::from(found.kind == kind || near);
        }
    }
    counts
}

#[test]
fn unmoved_mounts_are_seldom_called_moved_and_moved_ones_nearly_always() {
    let befores = befores();
    // Two of a hundred is the promise; the whole study finds fewer than one, and four of 60 answers
    // would then come once in 400 times.
    for limit in [Size::Beams(0.0), Size::Noises(0.0)] {
        let [all, moved, ..] = count(&befores, ChangeKind::Unmoved, limit);
        assert!(all > 50 && moved < 4, "{moved} of {all} called moved");
    }
    for kind in [
        ChangeKind::WholeMount,
        ChangeKind::Lean,
        ChangeKind::AzimuthSlip,
        ChangeKind::ElevationSlip,
        ChangeKind::Dish,
    ] {
        // At twice the limit 95 of a hundred is the promise and 97 or more what the whole study
        // finds: seven misses of 60 would come once in a few hundred.
        let [all, moved, cannot, named] = count(&befores, kind, Size::Beams(0.2));
        assert!(
            all - moved < 7,
            "{kind:?}: {moved} of {all}, {cannot} cannot tell"
        );
        // And the kind is named rightly or nearly as likely: more than 90 of a hundred in the whole
        // study.
        assert!(named * 10 >= all * 8, "{kind:?}: {named} of {all} named");
    }
}

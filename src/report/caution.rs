//! What can hurt.

use super::Report;
use crate::station::EmitterKind;

/// Shown where new peaks are to be taken, whenever the Sun is among the emitters observed.
pub const SUN: &str = "The Sun was used. A dish pointed at the Sun gathers its heat at the feed, \
    where it can burn skin, melt plastic and set things alight within seconds: keep hands, face \
    and anything that burns away from the feed and do not leave the dish standing on the Sun. \
    Never look along the dish, into it or through any sight or telescope at the Sun: it blinds.";

/// Shown whenever something is to be mended by hand.
pub const MOUNT: &str = "Before reaching into the mount: isolate and lock off its power, so that no \
    axis can move by itself; secure counterweights and the dish against swinging; keep \
    transmitters off; use proper access and fall protection at height; stop and get away at the \
    first sign of lightning. Local codes and licensed practice come first.";

/// Whether any peak of the log, kept or not, was taken on the Sun.
pub fn sun_was_used(report: &Report) -> bool {
    let is_sun = |name: &str| {
        (report.station.emitter(name)).is_some_and(|e| matches!(e.kind, EmitterKind::Sun))
    };
    let suns: Vec<&str> = (report.station.emitters.iter())
        .map(|e| e.name.as_str())
        .filter(|n| is_sun(n))
        .collect();
    (report.outcome.peaks.iter()).any(|p| suns.contains(&p.emitter.as_str()))
}

//! Pictures of every kind of finding, made by hand for judging their layout. Every number in them
//! is invented.

use super::{Drawing, Sheet, compass, effect, misreading, misses, scatter};
use crate::angle::Angle;
use crate::faults::{Against, EffectPoint, FaultAxis, MissPoint};
use crate::plot::Render;

fn on_sheet<D: Drawing + 'static>(drawing: D) -> Box<dyn Render> {
    Box::new(Sheet {
        stem: "fault-1-sample".to_owned(),
        title: "Something is loose in the elevation axis, and says so in a long title".to_owned(),
        stamp: "Orchard Wall".to_owned(),
        drawing,
    })
}

/// One of each kind, and awkward ones.
pub fn sample_pictures() -> Vec<(&'static str, Box<dyn Render>)> {
    let degrees = Angle::from_degrees;
    let effects = |count: usize, size: f64, along: f64| -> Vec<EffectPoint> {
        (0..count)
            .map(|i| {
                let turn = i as f64;
                EffectPoint {
                    x: along * turn / count as f64,
                    row: i + 1,
                    seen: degrees(size * turn.sin()),
                    effect: degrees(size * (0.1 * turn).cos()),
                    left: degrees(0.1 * size * (3.0 * turn).sin()),
                    kept: i % 7 != 3,
                }
            })
            .collect()
    };
    let misses = |count: usize, size: f64| -> Vec<MissPoint> {
        (0..count)
            .map(|i| MissPoint {
                row: i + 1,
                miss: degrees(if i % 3 == 0 { 60.0 * size } else { size }),
                meant: i % 3 == 0,
            })
            .collect()
    };
    let spread = |count: usize, size: f64| -> Vec<(f64, Angle)> {
        (0..count)
            .map(|i| {
                (
                    i as f64 * 360.0 / count as f64,
                    degrees(size * (i as f64).sin().abs()),
                )
            })
            .collect()
    };
    let mut all: Vec<(&'static str, Box<dyn Render>)> = Vec::new();
    let mut add = |what: &'static str, picture| all.push((what, picture));
    for (what, against, along) in [
        ("hours", Against::Hours, 9.0),
        ("azimuth", Against::Azimuth, 540.0),
        ("elevation", Against::Elevation, 80.0),
        ("temperature", Against::Temperature, 14.0),
        ("solar hours", Against::SolarHours, 24.0),
        ("phase", Against::Phase, 360.0),
    ] {
        for size in [1e-4, 0.2, 170.0] {
            let points = effects(60, size, along);
            add(
                what,
                on_sheet(effect::EffectPicture::new(
                    crate::mount::Kind::AzEl,
                    against,
                    FaultAxis::Azimuth,
                    points,
                )),
            );
        }
    }
    let mut sides = effects(30, 0.2, 1.0);
    for (i, p) in sides.iter_mut().enumerate() {
        p.x = (i % 3) as f64 - 1.0;
    }
    add(
        "arrival",
        on_sheet(effect::EffectPicture::new(
            crate::mount::Kind::AzEl,
            Against::Arrival,
            FaultAxis::Elevation,
            sides,
        )),
    );
    for (what, count, size) in [("one", 1, 0.1), ("few", 12, 0.1), ("many", 900, 2.0)] {
        let lobes = Some([degrees(1.5), degrees(1.9)]);
        add(
            what,
            on_sheet(misses::MissPicture::new(misses(count, size), lobes)),
        );
        add(
            what,
            on_sheet(misses::MissPicture::new(misses(count, size), None)),
        );
        for axis in [FaultAxis::Azimuth, FaultAxis::Elevation, FaultAxis::Both] {
            let picture = scatter::ScatterPicture::new(
                crate::mount::Kind::AzEl,
                Against::Azimuth,
                axis,
                spread(count, size),
            );
            add(what, on_sheet(picture));
        }
        let points = (0..count)
            .map(|i| (i + 1, degrees(30.0 * size), degrees(0.1 * size)))
            .collect();
        add(what, on_sheet(misreading::MisreadingPicture::new(points)));
    }
    for zero in [-178.0, 0.0, 2.9, 90.0] {
        let picture = compass::CompassPicture::new(degrees(zero), degrees(3.1), degrees(2.0));
        add("compass", on_sheet(picture));
    }
    all
}

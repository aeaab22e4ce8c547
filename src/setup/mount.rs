//! The `[mount]` section of a new station file, for each kind of mount.

use std::str::FromStr;

use super::SetupRequest;
use super::page::{Page, number};

/// The kind of mount of a new station.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NewMount {
    /// Azimuth below elevation.
    #[default]
    AzEl,
    /// Hour angle below declination, both with a motor.
    Polar,
    /// The same with the dish bolted in declination.
    OneMotor,
    /// X below y.
    XY,
    /// Azimuth below elevation on a deliberately tilted base.
    Slant,
}

const NAMES: [(&str, NewMount); 5] = [
    ("az-el", NewMount::AzEl),
    ("polar", NewMount::Polar),
    ("polar-one-motor", NewMount::OneMotor),
    ("x-y", NewMount::XY),
    ("slant", NewMount::Slant),
];

impl FromStr for NewMount {
    type Err = String;
    fn from_str(text: &str) -> Result<NewMount, String> {
        let found = NAMES.iter().find(|(name, _)| *name == text);
        let names = NAMES.map(|(name, _)| name);
        found.map(|(_, mount)| *mount).ok_or_else(|| {
            format!(
                "no kind of mount is called so; expected one of {}",
                names.join(", ")
            )
        })
    }
}

/// Writes the whole section.
pub(super) fn section(page: &mut Page, request: &SetupRequest) {
    page.heading("[mount]");
    match request.mount {
        NewMount::AzEl => {
            page.remark("How the axes are arranged: an azimuth axis below an elevation axis.");
            page.line("kind = \"az-el\"");
            azimuth_elevation(page);
        }
        NewMount::Slant => {
            page.remark(
                "How the axes are arranged: an azimuth axis below an elevation axis, on a base that leans \
                 on purpose.",
            );
            page.line("kind = \"slant\"");
            page.remark(
                "CHECK: how far the azimuth axis leans from upright, and toward which azimuth.",
            );
            page.line("axis_tilt_deg = 10.0");
            page.line("axis_tilt_azimuth_deg = 180.0");
            azimuth_elevation(page);
        }
        NewMount::Polar | NewMount::OneMotor => polar(page, request),
        NewMount::XY => x_y(page),
    }
    sensors(page);
}

fn teeth(page: &mut Page, axes: [&str; 2]) {
    page.remark(
        "Teeth of the big gear on each axis and of the small one that drives it: with them, faults of \
         single teeth can be found.",
    );
    let of = axes.map(|axis| format!("{axis}_gear_teeth = 120\n{axis}_pinion_teeth = 12"));
    page.commented(&of.join("\n"));
}

fn park(page: &mut Page, readings: &str) {
    page.remark("The readings at which the dish is parked: where relay sends it when a tracking program says park.");
    page.commented(&format!("park = {readings}"));
}

fn azimuth_elevation(page: &mut Page) {
    page.remark(
        "CHECK: what the azimuth encoder reads at the two ends of its travel. Readings go on past 360 \
         and below 0 as the cable winds up; a mount that turns once, across north, may read from -90 to \
         270. Here: two turns.",
    );
    page.line("azimuth_range_deg = [-180.0, 540.0]");
    page.remark(
        "CHECK: the same for the elevation encoder. Above 90 the dish lies over backwards.",
    );
    page.line("elevation_range_deg = [0.0, 90.0]");
    teeth(page, ["azimuth", "elevation"]);
    page.remark(
        "How far the feet or shims of the base stand from the azimuth axis, and in which azimuths: with \
         them, a lean is given in millimetres under each foot.",
    );
    page.commented("base_radius_m = 0.5\nbase_feet_azimuth_deg = [0.0, 120.0, 240.0]");
    park(page, "[180.0, 85.0]");
}

fn polar(page: &mut Page, request: &SetupRequest) {
    let south = request.latitude_deg < 0.0;
    page.remark(
        "How the axes are arranged: a polar axis toward the celestial pole above the horizon, by the \
         latitude above; on it the declination axis.",
    );
    page.line("kind = \"polar\"");
    page.remark(
        "CHECK: what the hour angle encoder reads at the two ends of its travel: 0 on the meridian, \
         positive toward west, 15 degrees to the hour.",
    );
    page.line("hour_angle_range_deg = [-80.0, 80.0]");
    match request.mount {
        NewMount::OneMotor => {
            page.remark(
                "CHECK: one motor only: the declination at which the dish is bolted. Here that of the arc \
                 of geostationary satellites on the meridian; plumbeam solve says how each bolt is best \
                 set.",
            );
            let offset = (arc_declination_deg(request.latitude_deg) * 100.0).round() / 100.0;
            page.line(&format!("declination_offset_deg = {}", number(offset)));
        }
        _ => {
            page.remark("CHECK: the same for declination: 0 on the equator, north positive.");
            page.line(match south {
                true => "declination_range_deg = [-85.0, 40.0]",
                false => "declination_range_deg = [-40.0, 85.0]",
            });
        }
    }
    teeth(page, ["hour_angle", "declination"]);
    page.remark(
        "How far one turn moves the altitude and azimuth bolts of the polar axis, and how far they stand \
         from its hinges, millimetres: with them, what the axis is off by is given in turns.",
    );
    page.commented("polar_bolt_pitch_mm = 1.5\npolar_bolt_distance_mm = 300.0");
    if request.mount == NewMount::Polar {
        park(page, "[0.0, 0.0]");
    }
}

fn x_y(page: &mut Page) {
    page.remark(
        "How the axes are arranged: a level lower axis, on it the upper axis square to it. Both read 0 \
         with the dish at the zenith.",
    );
    page.line("kind = \"x-y\"");
    page.remark(
        "CHECK: how the lower axis lies: \"north-south\" (X positive toward east, Y toward north) or \
         \"east-west\" (X positive toward north, Y toward east).",
    );
    page.line("lower_axis = \"north-south\"");
    page.remark("CHECK: what the two encoders read at the ends of their travels.");
    page.line("x_range_deg = [-80.0, 80.0]");
    page.line("y_range_deg = [-80.0, 80.0]");
    teeth(page, ["x", "y"]);
    page.remark(
        "Distance between the bearings of the lower axis: with it, its error is given in \
         millimetres.",
    );
    page.commented("lower_bearing_distance_m = 0.8");
    park(page, "[0.0, 0.0]");
}

fn sensors(page: &mut Page) {
    page.line("");
    page.remark(
        "An axis whose sensor does not count degrees: pulses of an actuator, volts. Either so many counts \
         to a degree, or pairs of what it shows and degrees (docs/mounts.md makes them from an actuator's \
         three lengths).",
    );
    page.commented(
        "[mount.axis_1.sensor]\n\
         counts_per_degree = 12.5\n\
         count_at_zero = 500.0\n\
         unit = \"pulses\"",
    );
}

/// Declination of a geostationary satellite on the meridian, seen from this latitude on a spherical
/// Earth; the radius of the equatorial orbit is 6.611 times the Earth's.
fn arc_declination_deg(latitude_deg: f64) -> f64 {
    /// 42,164 km over 6,378 km, as in handbooks of satellite links (from memory).
    const ORBIT_RADII: f64 = 6.611;
    let (sin, cos) = latitude_deg.to_radians().sin_cos();
    -sin.atan2(ORBIT_RADII - cos).to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_known_kinds_of_mount_are_read() {
        for (name, mount) in NAMES {
            assert_eq!(name.parse(), Ok(mount));
        }
        let told = "equatorial".parse::<NewMount>().unwrap_err();
        assert!(
            told.ends_with("az-el, polar, polar-one-motor, x-y, slant"),
            "{told}"
        );
    }

    /// Installers' tables give 6.2 degrees south at 40 degrees north (common practice, no source).
    #[test]
    fn the_geostationary_arc_has_declination_of_the_opposite_sign() {
        assert!((arc_declination_deg(40.0) + 6.27).abs() < 0.05);
        assert_eq!(arc_declination_deg(0.0), 0.0);
        assert!(arc_declination_deg(-40.0) > 6.0);
    }
}

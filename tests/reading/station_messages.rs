//! Each thing that can be wrong with a station file has its own message.

use std::path::Path;

use insta::assert_snapshot;
use plumbeam::station::Station;

const STATION: &str = include_str!("../data/invented/station.toml");

/// What the reader says to a file that it must refuse.
fn told(toml: &str) -> String {
    let refused = Station::parse("station.toml", Path::new(""), toml.as_bytes());
    let error = refused.expect_err("the file is wrong");
    assert_eq!(error.exit_code(), 3);
    error.to_string()
}

/// A good file after some edits.
fn edited(edits: &[(&str, &str)]) -> String {
    edits.iter().fold(STATION.to_owned(), |toml, (from, to)| {
        assert!(toml.contains(from), "{from}");
        toml.replacen(from, to, 1)
    })
}

fn told_after(edits: &[(&str, &str)]) -> String {
    told(&edited(edits))
}

#[test]
fn places() {
    let said = told_after(&[
        ("50.5", "95"),
        ("9.25", "400"),
        ("310.0", "-900"),
        ("50.6", "150.6"),
        ("212.4", "400.4"),
        ("299.868", "400"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:4:16: latitude_deg is 95; expected degrees from -90 to 90, north positive
    station.toml:5:17: longitude_deg is 400; expected degrees from -180 to 360, east positive
    station.toml:6:12: height_m is -900; expected metres above the WGS 84 ellipsoid, from -500 to 9000
    station.toml:46:23: right_ascension_deg is 400; expected degrees from 0 to 360 (hours x 15)
    station.toml:52:16: latitude_deg is 150.6; expected degrees from -90 to 90, north positive
    station.toml:59:15: azimuth_deg is 400.4; expected degrees from -360 to 360, from true north, clockwise
    "#);
}

#[test]
fn a_height_in_feet() {
    let said = told_after(&[("310.0", "12000")]);
    assert_snapshot!(said, @r#"
    station.toml:6:12: height_m is 12000; expected metres above the WGS 84 ellipsoid, from -500 to 9000
      help: if that is feet, write 3657.6
    "#);
}

#[test]
fn a_pressure_in_pascal() {
    let said = told_after(&[("975.0", "97500")]);
    assert_snapshot!(said, @r#"
    station.toml:7:16: pressure_hpa is 97500; expected the pressure at the station in hectopascal, from 300 to 1100
      help: if that is pascal, write 975.0
    "#);
}

#[test]
fn a_pressure_in_millimetres_of_mercury() {
    let said = told_after(&[("975.0", "731")]);
    assert_snapshot!(said, @r#"
    station.toml:7:16: pressure_hpa is 731, lower than ever measured at 310 m; expected about 977 hectopascal there
      help: if that is millimetres of mercury, write 974.6
    "#);
}

#[test]
fn a_pressure_in_inches_of_mercury() {
    let said = told_after(&[("975.0", "28.8")]);
    assert_snapshot!(said, @r#"
    station.toml:7:16: pressure_hpa is 28.8; expected the pressure at the station in hectopascal, from 300 to 1100
      help: if that is inches of mercury, write 975.3
    "#);
}

#[test]
fn an_impossible_pressure() {
    let said = told_after(&[("975.0", "500")]);
    assert_snapshot!(said, @r#"
    station.toml:7:16: pressure_hpa is 500, lower than ever measured at 310 m; expected about 977 hectopascal there
      help: check pressure_hpa and height_m
    "#);
}

#[test]
fn temperature_in_kelvin_humidity_in_per_cent_ut1_in_milliseconds() {
    let said = told_after(&[("12.0", "288"), ("0.6", "40"), ("0.05", "50")]);
    assert_snapshot!(said, @r#"
    station.toml:8:17: temperature_c is 288; expected degrees Celsius from -90 to 60
      help: if that is kelvin, write 14.9
    station.toml:9:21: relative_humidity is 40; expected a fraction from 0 to 1
      help: if that is per cent, write 0.4
    station.toml:10:19: ut1_minus_utc_s is 50; expected seconds from -0.9 to 0.9
      help: if that is milliseconds, write 0.05; if UT1 is not known, leave the line out
    "#);
}

#[test]
fn temperature_in_fahrenheit_and_a_negative_humidity() {
    let said = told_after(&[("12.0", "75"), ("0.6", "-1")]);
    assert_snapshot!(said, @r#"
    station.toml:8:17: temperature_c is 75; expected degrees Celsius from -90 to 60
      help: if that is Fahrenheit, write 23.9
    station.toml:9:21: relative_humidity is -1; expected a fraction from 0 to 1
    "#);
}

#[test]
fn text_for_a_number() {
    let said = told_after(&[
        ("50.5", "\"50.5\""),
        ("9.25", "\"9°15'W\""),
        ("310.0", "true"),
        ("975.0", "\"n/a\""),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:4:16: latitude_deg is the text "50.5"; expected degrees from -90 to 90, north positive
      help: write it without quotes: latitude_deg = 50.5
    station.toml:5:17: longitude_deg is the text "9°15'W"; expected degrees from -180 to 360, east positive
      help: write decimals: -9.25
    station.toml:6:12: height_m is the word true; expected metres above the WGS 84 ellipsoid, from -500 to 9000
    station.toml:7:16: pressure_hpa is the text "n/a"; expected the pressure at the station in hectopascal, from 300 to 1100
      help: leave the line out if there is no value
    "#);
}

#[test]
fn not_a_number_and_infinity() {
    let said = told_after(&[("50.5", "nan"), ("9.25", "-inf"), ("310.0", "+nan")]);
    assert_snapshot!(said, @r#"
    station.toml:4:16: latitude_deg is nan, which is not a number; expected degrees from -90 to 90, north positive
    station.toml:5:17: longitude_deg is -inf, which is not finite; expected degrees from -180 to 360, east positive
    station.toml:6:12: height_m is +nan, which is not a number; expected metres above the WGS 84 ellipsoid, from -500 to 9000
    "#);
}

#[test]
fn ranges_the_wrong_way_round() {
    let said = told_after(&[
        ("[-180.0, 540.0]", "[540.0, -180.0]"),
        ("[0.0, 90.0]", "[10, 10]"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:14:21: azimuth_range_deg runs from 540 to -180; expected the lower end first, and a range that is not empty
      help: write [-180.0, 540.0]; readings do not jump at 360, so a range across north is written like [-90.0, 270.0]
    station.toml:15:23: elevation_range_deg runs from 10 to 10; expected the lower end first, and a range that is not empty
    "#);
}

#[test]
fn ranges_of_the_wrong_shape() {
    let said = told_after(&[
        ("[-180.0, 540.0]", "540.0"),
        ("[0.0, 90.0]", "[0, 90, 180]"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:14:21: azimuth_range_deg is the number 540; expected lowest and highest azimuth reading in degrees, such as [-180.0, 540.0]
    station.toml:15:23: elevation_range_deg is a list of 3; expected lowest and highest elevation reading in degrees, such as [0.0, 90.0]
    "#);
}

#[test]
fn ranges_of_wrong_numbers() {
    let said = told_after(&[
        ("[-180.0, 540.0]", "[-180, \"540\"]"),
        ("[0.0, 90.0]", "[0, 400]"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:14:28: azimuth_range_deg is the text "540"; expected degrees from -100000 to 100000
      help: write it without quotes: azimuth_range_deg = 540
    station.toml:15:27: elevation_range_deg is 400; expected degrees from -90 to 270
    "#);
}

#[test]
fn frequency_in_hertz_and_diameter_in_centimetres() {
    let said = told_after(&[("1700.0", "1700000000"), ("2.4", "240")]);
    assert_snapshot!(said, @r#"
    station.toml:22:14: diameter_m is 240; expected metres from 0.1 to 110
      help: in metres: 2.4 if that is centimetres, 0.24 if millimetres
    station.toml:23:17: frequency_mhz is 1700000000; expected megahertz from 30 to 1000000
      help: if that is hertz, write 1700
    "#);
}

#[test]
fn frequency_in_gigahertz_and_diameter_in_millimetres() {
    let said = told_after(&[("1700.0", "1.7"), ("2.4", "24000")]);
    assert_snapshot!(said, @r#"
    station.toml:22:14: diameter_m is 24000; expected metres from 0.1 to 110
      help: if that is millimetres, write 24
    station.toml:23:17: frequency_mhz is 1.7; expected megahertz from 30 to 1000000
      help: if that is gigahertz, write 1700
    "#);
}

#[test]
fn a_dish_without_a_beam() {
    let said = told_after(&[("1700.0", "40"), ("beamwidth_deg = 5.1", "")]);
    assert_snapshot!(said, @r#"
    station.toml:21:1: a dish of 2.4 m at 40 MHz has no beam: it measures 0.3 wavelengths; expected a dish wider than the wave is long
      help: check diameter_m and frequency_mhz, or give beamwidth_deg
    "#);
}

#[test]
fn a_mount_with_the_keys_of_another_kind() {
    let said = told_after(&[("az-el", "x-y")]);
    assert_snapshot!(said, @r#"
    station.toml:12:1: [mount] has no lower_axis; expected "north-south" or "east-west": how the axis on the ground lies
      help: add a line below it: lower_axis = …
    station.toml:14:21: a mount of kind "x-y" has no azimuth_range_deg, which is of kind "az-el"; expected x_range_deg
      help: rename it x_range_deg, with what that axis reads
    station.toml:15:23: a mount of kind "x-y" has no elevation_range_deg, which is of kind "az-el"; expected y_range_deg
      help: rename it y_range_deg, with what that axis reads
    station.toml:16:22: a mount of kind "x-y" has no azimuth_gear_teeth, which is of kind "az-el"; expected x_gear_teeth
      help: rename it x_gear_teeth, with what that axis reads
    station.toml:17:24: a mount of kind "x-y" has no azimuth_pinion_teeth, which is of kind "az-el"; expected x_pinion_teeth
      help: rename it x_pinion_teeth, with what that axis reads
    station.toml:18:17: a mount of kind "x-y" has no base_radius_m, which is of kind "az-el"; expected none of that name
      help: delete the line
    station.toml:19:25: a mount of kind "x-y" has no base_feet_azimuth_deg, which is of kind "az-el"; expected none of that name
      help: delete the line
    "#);
}

#[test]
fn a_mount_of_an_unknown_kind() {
    let said = told_after(&[("az-el", "alt-az")]);
    assert_snapshot!(said, @r#"
    station.toml:13:8: no kind of mount is called "alt-az"; expected "az-el", "polar", "x-y" or "slant"
      help: write kind = "az-el"
    "#);
}

#[test]
fn a_mount_kind_that_is_no_text() {
    let said = told_after(&[("\"az-el\"", "3")]);
    assert_snapshot!(said, @r#"
    station.toml:13:8: kind is the number 3; expected "az-el", "polar", "x-y" or "slant"
      help: write it in quotes: kind = "…"
    "#);
}

#[test]
fn a_flat_mask() {
    let said = told_after(&[("[[0.0, 5.0], [90.0, 12.0]]", "[0.0, 5.0, 90.0, 12.0]")]);
    assert_snapshot!(said, @r#"
    station.toml:27:9: mask is the number 0; expected pairs of azimuth and lowest usable elevation, such as [[0.0, 5.0], [90.0, 12.0]]
    "#);
}

#[test]
fn a_mask_of_wrong_pairs() {
    let said = told_after(&[(
        "[[0.0, 5.0], [90.0, 12.0]]",
        "[[0.0, 5.0, 3.0], [90.0], [10, 95], [400, \"a\"]]",
    )]);
    assert_snapshot!(said, @r#"
    station.toml:27:9: mask is a list of 3; expected pairs of azimuth and lowest usable elevation, such as [[0.0, 5.0], [90.0, 12.0]]
    station.toml:27:26: mask is a list of 1; expected pairs of azimuth and lowest usable elevation, such as [[0.0, 5.0], [90.0, 12.0]]
    station.toml:27:39: mask is 95; expected degrees from -90 to 90, up from the horizontal
    station.toml:27:45: mask is 400; expected degrees from -360 to 360, from true north, clockwise
    station.toml:27:50: mask is the text "a"; expected degrees from -90 to 90, up from the horizontal
    "#);
}

#[test]
fn a_mask_that_contradicts_itself() {
    let said = told_after(&[(
        "[[0.0, 5.0], [90.0, 12.0]]",
        "[[0.0, 5.0], [360, 5], [360, 7]]",
    )]);
    assert_snapshot!(said, @r#"
    station.toml:27:31: azimuth 360 has two lowest elevations, 5 and 7; expected one for each azimuth
      help: for a wall write two azimuths close together
    "#);
}

#[test]
fn feet_teeth_and_radius() {
    let said = told_after(&[
        ("[0.0, 120.0, 240.0]", "[0.0, 120.0, 360.0, 500, \"x\"]"),
        ("144", "144.5"),
        ("0.8", "800"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:16:22: azimuth_gear_teeth is 144.5; expected a whole number of teeth, at most 100000
    station.toml:18:17: base_radius_m is 800; expected metres from 0 to 100
      help: in metres: 8 if that is centimetres, 0.8 if millimetres
    station.toml:19:38: a foot stands at 360 already; expected each foot once
    station.toml:19:45: base_feet_azimuth_deg is 500; expected degrees from -360 to 360, from true north, clockwise
    station.toml:19:50: base_feet_azimuth_deg is the text "x"; expected degrees from -360 to 360, from true north, clockwise
    "#);
}

#[test]
fn a_pinion_without_its_gear() {
    let said = told_after(&[("azimuth_gear_teeth = 144\n", "")]);
    assert_snapshot!(said, @r#"
    station.toml:16:24: azimuth_pinion_teeth is 12 but azimuth_gear_teeth is missing; expected both
      help: add azimuth_gear_teeth, the teeth of the big gear on the axis
    "#);
}

#[test]
fn a_pinion_larger_than_its_gear() {
    let said = told_after(&[
        ("144", "12"),
        ("azimuth_pinion_teeth = 12", "azimuth_pinion_teeth = 144"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:17:24: azimuth_pinion_teeth is 144, more than azimuth_gear_teeth with 12; expected the smaller gear, on the motor's side
      help: exchange the two numbers
    "#);
}

#[test]
fn misspelt_keys() {
    let said = told_after(&[
        ("latitude_deg", "latitude"),
        ("temperature_c", "temperature"),
        ("ut1_minus_utc_s", "diameter_m"),
        ("mask", "maks"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:4:1: [site] has no key "latitude"; expected latitude_deg
      help: rename it latitude_deg, or delete the line
    station.toml:8:1: [site] has no key "temperature"; expected temperature_c
      help: rename it temperature_c, or delete the line
    station.toml:10:1: [site] has no key "diameter_m"; expected diameter_m in [dish]
      help: move the line to [dish]
    station.toml:27:1: [horizon] has no key "maks"; expected mask
      help: rename it mask, or delete the line
    "#);
}

#[test]
fn a_misspelt_section() {
    let said = told_after(&[("[horizon]", "[horizont]")]);
    assert_snapshot!(said, @r#"
    station.toml:26:2: no section is called "horizont"; expected horizon
      help: rename it horizon, or delete the section
    "#);
}

#[test]
fn an_unknown_section() {
    let said = told_after(&[("[dish]", "[antenna]")]);
    assert_snapshot!(said, @r#"
    station.toml: the file has no section [dish]; expected diameter_m and frequency_mhz under it
    station.toml:21:2: no section is called "antenna"; expected one of site, mount, dish, horizon, emitter, feed
    "#);
}

#[test]
fn a_single_emitter_in_single_brackets() {
    let said = told(
        &STATION[..STATION.find("[[emitter]]\nname = \"moon\"").unwrap()]
            .replace("[[emitter]]", "[emitter]"),
    );
    assert_snapshot!(said, @r#"
    station.toml:29:1: emitter is a section; expected [[emitter]] above each emitter
      help: write the heading with double brackets: [[emitter]]
    "#);
}

#[test]
fn missing_keys() {
    let said = told_after(&[
        ("latitude_deg = 50.5", ""),
        ("kind = \"az-el\"", ""),
        ("diameter_m = 2.4", ""),
        ("elements = \"satellites.tle\"", ""),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:2:1: [site] has no latitude_deg; expected degrees from -90 to 90, north positive
      help: add a line below it: latitude_deg = …
    station.toml:12:1: [mount] has no kind; expected "az-el", "polar", "x-y" or "slant"
      help: add a line below it: kind = …
    station.toml:21:1: [dish] has no diameter_m; expected metres from 0.1 to 110
      help: add a line below it: diameter_m = …
    station.toml:37:1: the emitter "pigeon-1" has no elements; expected the name of a file of orbital elements in quotes
      help: add a line below it: elements = …
    "#);
}

#[test]
fn emitter_names() {
    let said = told_after(&[
        ("\"moon\"", "\"sun\""),
        ("\"ridge-beacon\"", "\"Sun\""),
        ("\"church-spire\"", "\" spire \""),
        ("\"Mill meadow\"", "\"\""),
        ("\"pigeon-1\"", "5"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:3:8: name is empty; expected the site's name in quotes
    station.toml:34:8: an emitter on line 29 is called "sun" already; expected a name of its own for each emitter
    station.toml:38:8: name is the number 5; expected the emitter's name in quotes
      help: write it in quotes: name = "…"
    station.toml:50:8: "Sun" and "sun" on line 29 differ only in capitals; expected a name of its own for each emitter
    station.toml:57:8: name has a blank at its beginning or end; expected none there
    "#);
}

#[test]
fn emitter_kinds() {
    let said = told_after(&[
        ("\"satellite\"", "\"sattelite\""),
        ("\"mark\"", "\"planet\""),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:39:8: no kind of emitter is called "sattelite"; expected one of "sun", "moon", "satellite", "radio-source", "beacon", "geostationary", "mark"
      help: write kind = "satellite"
    station.toml:58:8: no kind of emitter is called "planet"; expected one of "sun", "moon", "satellite", "radio-source", "beacon", "geostationary", "mark"
    "#);
}

#[test]
fn keys_of_another_kind_of_emitter() {
    let said = told_after(&[
        (
            "kind = \"sun\"",
            "kind = \"sun\"\nnorad_id = 5\nlatitude_deg = 3\nfoo = 1",
        ),
        ("norad_id = 99001", "norad_id = \"99001\""),
        ("declination_deg = 40.734", ""),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:32:1: the emitter "sun" has no key "norad_id"; expected norad_id in an emitter of kind "satellite"
      help: move the line to an emitter of kind "satellite"
    station.toml:33:1: the emitter "sun" has no key "latitude_deg"; expected latitude_deg in an emitter of kind "beacon"
      help: move the line to an emitter of kind "beacon"
    station.toml:34:1: the emitter "sun" has no key "foo"; expected one of name, kind
    station.toml:44:12: norad_id is the text "99001"; expected the satellite's catalogue number, a whole number
      help: write it without quotes: norad_id = 99001
    station.toml:46:1: the emitter "Swan source" has no declination_deg; expected degrees from -90 to 90
      help: add a line below it: declination_deg = …
    "#);
}

#[test]
fn a_radio_source_without_a_place() {
    let said = told_after(&[
        ("right_ascension_deg = 299.868", ""),
        ("declination_deg = 40.734", ""),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:43:1: the emitter "Swan source" has no right_ascension_deg and no declination_deg, and is not in the built-in catalogue; expected a place, or a name of the catalogue
      help: add its place; the catalogue knows Cas A, Cyg A, Tau A, Vir A, Her A, Hydra A, Pictor A, Fornax A, 3C 123, 3C 286, 3C 295, 3C 353, 3C 273, Ori A, Sgr A, Cen A
    "#);
}

#[test]
fn a_radio_source_nearly_in_the_catalogue() {
    let said = told_after(&[
        ("right_ascension_deg = 299.868", ""),
        ("declination_deg = 40.734", ""),
        ("Swan source", "Cyg B"),
    ]);
    assert_snapshot!(said, @r#"
    station.toml:43:1: the emitter "Cyg B" has no right_ascension_deg and no declination_deg, and is not in the built-in catalogue; expected a place, or a name of the catalogue
      help: if Cyg A is meant, write that name; else add its place
    "#);
}

#[test]
fn a_decimal_comma() {
    let said = told_after(&[("50.5", "50,5")]);
    assert_snapshot!(said, @r#"
    station.toml:4:18: this is not TOML: unexpected key or value; expected newline, `#`
      help: write 50.5
    "#);
}

#[test]
fn typographic_quotes() {
    let said = told_after(&[("\"Mill meadow\"", "“Mill meadow”")]);
    assert_snapshot!(said, @r#"
    station.toml:3:8: this is not TOML: string values must be quoted; expected literal string
      help: use plain double quotes (") around text
    "#);
}

#[test]
fn text_without_quotes() {
    let said = told_after(&[("\"Mill meadow\"", "Mill meadow")]);
    assert_snapshot!(said, @r#"
    station.toml:3:8: this is not TOML: string values must be quoted; expected literal string
      help: put text in double quotes: "Mill meadow"
    "#);
}

#[test]
fn a_key_that_stands_twice() {
    let said = told_after(&[("height_m = 310.0", "height_m = 310.0\nheight_m = 311.0")]);
    assert_snapshot!(said, @r#"
    station.toml:7:1: this is not TOML: duplicate key
      help: delete one of the two; the heading of every emitter has double brackets: [[emitter]]
    "#);
}

#[test]
fn an_open_bracket() {
    let said = told_after(&[("[dish]", "[dish")]);
    assert_snapshot!(said, @r#"
    station.toml:21:6: this is not TOML: unclosed table; expected `]`
      help: once this is mended, the rest of the file can be checked
    "#);
}

#[test]
fn minutes_and_seconds_for_decimals() {
    let said = told_after(&[("latitude_deg = 50.5", "latitude_deg = 50:30:00")]);
    assert_snapshot!(said, @r#"
    station.toml:4:16: this is not TOML: invalid time; expected hour between 00 and 23
      help: write decimals: 50.5
    "#);
}

#[test]
fn a_degree_sign() {
    let said = told_after(&[("latitude_deg = 50.5", "latitude_deg = 50.5°")]);
    assert_snapshot!(said, @r#"
    station.toml:4:20: this is not TOML: invalid float; expected nothing
      help: write the number alone: 50.5
    "#);
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_are_accepted() {
    let windows = format!("\u{feff}{}", STATION.replace('\n', "\r\n"));
    let station = Station::parse("station.toml", Path::new(""), windows.as_bytes()).unwrap();
    assert_eq!(station.emitters.len(), 6);
    let wrong = windows.replace("50.5", "95");
    assert!(told(&wrong).starts_with("station.toml:4:16: latitude_deg is 95"));
}

#[test]
fn all_faults_come_in_the_order_of_the_file() {
    let told = told_after(&[
        ("elevation_deg = 1.5", "elevation_deg = 91"),
        ("2.4", "-1"),
        ("50.5", "91"),
    ]);
    let lines: Vec<&str> = told
        .lines()
        .filter(|l| l.starts_with("station.toml"))
        .collect();
    assert_eq!(lines.len(), 3);
    assert!(lines[0].contains("latitude_deg"));
    assert!(lines[1].contains("diameter_m"));
    assert!(lines[2].contains("elevation_deg"));
}

//! The C header for firmware: the integer table, its look-up in C99 and a self-test.

use std::fmt::Write;

use super::grid::Microdegrees;
use super::header::Header;
use super::integer::{CellWidth, IntegerTable, LookUpStatus};
use crate::mount::Kind;

/// The look-up, which needs only the definitions that [`c_header`] writes before it.
const LOOKUP: &str = include_str!("lookup.h");

/// What firmware gets: the table and what it is.
#[derive(Clone, Debug, PartialEq)]
pub struct FirmwareTable {
    /// What it is and where it came from; the errors are those of the integers.
    pub header: Header,
    /// The table.
    pub table: IntegerTable,
}

/// One line of the self-test: a demand and what both look-ups must answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TestVector {
    /// Demanded azimuth and elevation, and the present azimuth reading.
    pub demand: [i32; 3],
    /// Status, azimuth and elevation correction.
    pub correction: [i32; 3],
    /// Status, azimuth and elevation reading.
    pub command: [i32; 3],
}

impl FirmwareTable {
    /// Demands that reach every branch of the look-up: inside, on nodes, on both ends of both
    /// axes, across north, beyond each end.
    pub fn test_vectors(&self) -> Vec<TestVector> {
        let t = &self.table;
        let (low, high) = (t.elevation.first.0, t.elevation.last().0);
        let (first, step, rise) = (t.azimuth.first.0, t.azimuth.step.0, t.elevation.step.0);
        let middle = Microdegrees::nearest(t.middle().azimuth).map_or(0, |m| m.0);
        let last = t.azimuth.last().0;
        let inside = low + (high - low) / 3 + 12_345;
        [
            (first, low, middle),
            (last, high, t.azimuth_range.0.0),
            (last + step - 1, high - 1, t.azimuth_range.1.0),
            (first + step / 3, low + rise / 7, middle),
            (123_456_789, inside, middle),
            (-1, inside, t.azimuth_range.0.0),
            (359_999_999, inside, t.azimuth_range.1.0),
            (271_828_182, low + rise, i32::MAX),
            (i32::MAX, inside, i32::MIN),
            (first, low - 1, 0),
            (first, high + 1, 0),
        ]
        .into_iter()
        .map(|(azimuth, elevation, present)| {
            let (a, e) = (Microdegrees(azimuth), Microdegrees(elevation));
            TestVector {
                demand: [azimuth, elevation, present],
                correction: answer(t.correction(a, e)),
                command: answer(t.command(a, e, Microdegrees(present))),
            }
        })
        .collect()
    }
}

fn answer(result: Result<(Microdegrees, Microdegrees), LookUpStatus>) -> [i32; 3] {
    match result {
        Ok((a, e)) => [0, a.0, e.0],
        Err(status) => [status as i32, 0, 0],
    }
}

/// The whole header file.
pub fn c_header(firmware: &FirmwareTable) -> String {
    let kind = firmware.header.geometry().kind();
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_comment(&mut out, firmware);
    let mut code = String::new();
    let _ = write_definitions(&mut code, firmware);
    out + &named(kind, &(code + LOOKUP))
}

/// Text and program of an az-el mount with the names of this kind's axes.
fn named(kind: Kind, text: &str) -> String {
    if kind.has_track() {
        return text.to_owned();
    }
    let mut named = text.to_owned();
    for (word, axis) in ["azimuth", "elevation"].into_iter().zip(kind.axes()) {
        named = named
            .replace(&format!("{word} axis"), kind.axis_1())
            .replace(&format!("{word}s"), &format!("values of {}", axis.words()))
            .replace(&format!("{word}'s"), &format!("{}'s", axis.words()))
            .replace(word, axis.key())
            .replace(&word.to_uppercase(), &axis.key().to_uppercase());
    }
    named
}

fn write_comment(out: &mut String, firmware: &FirmwareTable) -> std::fmt::Result {
    let table = &firmware.table;
    let bits = 8 * table.width.bytes();
    let kind = firmware.header.geometry().kind();
    let mut head = String::new();
    writeln!(
        head,
        "/* Correction table for the pointing of a dish, written by plumbeam; not to be edited.\n \
         *\n \
         * int plumbeam_correction(azimuth, elevation, &azimuth_correction, &elevation_correction)\n \
         *     what to ADD to a demanded direction to get the encoder reading to command;\n \
         * int plumbeam_command(azimuth, elevation, present_azimuth, &azimuth_reading,\n \
         *                      &elevation_reading)\n \
         *     the same with the correction added and the cable wrap chosen.\n \
         * All angles are int32_t microdegrees: 123.456789 degrees is 123456789. Both return 0, or\n \
         * why there is no answer: 1 below the table, 2 above it (keyhole), 3 outside of its\n \
         * azimuths, 4 out of the encoders' range. On any of these do not move.\n \
         *\n \
         * C99, only <stdint.h>, no floating point, right where int has 16 bits. Before including\n \
         * it may be defined:\n \
         *   PLUMBEAM_FLOAT      the same look-up in floating point as well\n \
         *   PLUMBEAM_SELF_TEST  int plumbeam_self_test(void): 0 when all is well\n \
         *   PLUMBEAM_STORAGE, PLUMBEAM_READ_CELL(address), PLUMBEAM_READ_SCALE(address)\n \
         *     to keep the table in program memory; on AVR:\n \
         *       #include <avr/pgmspace.h>\n \
         *       #define PLUMBEAM_STORAGE PROGMEM\n \
         *       #define PLUMBEAM_READ_CELL(a) ((int{bits}_t)pgm_read_{unit}(a))\n \
         *       #define PLUMBEAM_READ_SCALE(a) ((int32_t)pgm_read_dword(a))\n \
         *\n \
         * The table takes {bytes} bytes: {columns} azimuths x {rows} elevations x 2 corrections \
         of {bits} bits.\n \
         * On an 8-bit AVR the look-up itself took about 1.8 KiB of program and 7000 cycles (avr-gcc\n \
         * 5.4 -Os, measured in a simulator).\n \
         * The errors below are those of this integer look-up.\n \
         *",
        unit = match table.width {
            CellWidth::Bits8 => "byte",
            CellWidth::Bits16 => "word",
            CellWidth::Bits32 => "dword",
        },
        bytes = table.bytes(),
        columns = table.azimuth.count,
        rows = table.elevation.count,
    )?;
    out.push_str(&named(kind, &head));
    for (key, value) in firmware.header.entries() {
        // How a demand becomes what is looked up is said of other kinds of mount only.
        let how_to_use = key == "how_to_use" && kind.is_az_el();
        if !how_to_use && key != "checksum" && key != "format" {
            writeln!(out, " * {key}: {value}")?;
        }
    }
    writeln!(
        out,
        " * checksum: PLUMBEAM_CRC32, CRC-32 (IEEE 802.3) of cells and scales, low bytes first\n */\n\
         #ifndef PLUMBEAM_TABLE_H\n#define PLUMBEAM_TABLE_H\n\n#include <stdint.h>\n"
    )
}

/// A constant that C reads as the same number whatever its int.
fn constant(value: i32) -> String {
    if value < 0 {
        // The least number has no positive twin.
        match value.checked_neg() {
            Some(size) => format!("(-INT32_C({size}))"),
            None => "(-INT32_C(2147483647) - INT32_C(1))".to_owned(),
        }
    } else {
        format!("INT32_C({value})")
    }
}

fn write_definitions(out: &mut String, firmware: &FirmwareTable) -> std::fmt::Result {
    let t = &firmware.table;
    let bits = 8 * t.width.bytes();
    let scales = t.azimuth_cells.scales.len();
    let azimuth_last = t.azimuth.last().0 + if t.one_turn { t.azimuth.step.0 } else { 0 };
    let keyhole = (firmware.header.keyhole_half_angle_deg * 1e6).round() as i32;
    for (name, value, meaning) in [
        ("TURN", super::grid::TURN, "a whole turn"),
        ("AZIMUTH_FIRST", t.azimuth.first.0, "first demanded azimuth"),
        ("AZIMUTH_LAST", azimuth_last, "last demanded azimuth"),
        ("AZIMUTH_STEP", t.azimuth.step.0, ""),
        ("ELEVATION_FIRST", t.elevation.first.0, "lowest demand"),
        (
            "ELEVATION_LAST",
            t.elevation.last().0,
            "highest demand; above it refuse",
        ),
        ("ELEVATION_STEP", t.elevation.step.0, ""),
        (
            "KEYHOLE",
            keyhole,
            "half-angle of the cone about the azimuth axis that no reading reaches",
        ),
        (
            "AZIMUTH_LOWEST",
            t.azimuth_range.0.0,
            "range of the encoder readings",
        ),
        ("AZIMUTH_HIGHEST", t.azimuth_range.1.0, ""),
        ("ELEVATION_LOWEST", t.elevation_range.0.0, ""),
        ("ELEVATION_HIGHEST", t.elevation_range.1.0, ""),
    ] {
        let comment = if meaning.is_empty() {
            String::new()
        } else {
            format!(" /* {meaning} */")
        };
        writeln!(out, "#define PLUMBEAM_{name} {}{comment}", constant(value))?;
    }
    writeln!(
        out,
        "#define PLUMBEAM_ONE_TURN {} /* 1: any azimuth will do; 0: azimuths are unwrapped */\n\
         #define PLUMBEAM_COLUMNS {}\n#define PLUMBEAM_ROWS {}\n#define PLUMBEAM_SCALES {}\n\
         #define PLUMBEAM_CELL_BITS {}\n#define PLUMBEAM_CRC32 UINT32_C(0x{:08x})\n\n\
         #ifndef PLUMBEAM_STORAGE\n#define PLUMBEAM_STORAGE\n#endif\n\
         #ifndef PLUMBEAM_READ_CELL\n#define PLUMBEAM_READ_CELL(address) (*(address))\n#endif\n\
         #ifndef PLUMBEAM_READ_SCALE\n#define PLUMBEAM_READ_SCALE(address) (*(address))\n#endif\n",
        u8::from(t.one_turn),
        t.azimuth.count,
        t.elevation.count,
        scales,
        bits,
        t.crc32(),
    )?;

    writeln!(
        out,
        "/* Microdegrees = base + unit x cell, base and unit {}: azimuth's correction, then\n \
         * elevation's. */\n\
         static const int32_t plumbeam_scales[2][PLUMBEAM_SCALES][2] PLUMBEAM_STORAGE = {{",
        if scales > 1 {
            "for each row"
        } else {
            "for all rows"
        }
    )?;
    let both = [&t.azimuth_cells, &t.elevation_cells];
    for cells in both {
        writeln!(out, "{{")?;
        for scale in &cells.scales {
            writeln!(
                out,
                "{{{}, {}}},",
                constant(scale.base),
                constant(scale.unit)
            )?;
        }
        writeln!(out, "}},")?;
    }
    writeln!(
        out,
        "}};\n\n/* Rows of equal elevation from the lowest up, in each the azimuths. */\n\
         static const int{bits}_t plumbeam_cells[2][PLUMBEAM_ROWS][PLUMBEAM_COLUMNS] \
         PLUMBEAM_STORAGE = {{"
    )?;
    for cells in both {
        writeln!(out, "{{")?;
        for row in cells.cells.chunks(t.azimuth.count) {
            write_row(out, row, t.width)?;
        }
        writeln!(out, "}},")?;
    }
    writeln!(out, "}};\n")?;

    let tests = firmware.test_vectors();
    writeln!(
        out,
        "#ifdef PLUMBEAM_SELF_TEST\n\
         #define PLUMBEAM_TESTS {}\n\
         /* Demanded azimuth and elevation and present azimuth reading; status and corrections;\n \
         * status and readings. */\n\
         static const int32_t plumbeam_tests[PLUMBEAM_TESTS][9] = {{",
        tests.len()
    )?;
    for test in tests {
        let all: Vec<String> = [test.demand, test.correction, test.command]
            .concat()
            .into_iter()
            .map(constant)
            .collect();
        writeln!(out, "{{{}}},", all.join(", "))?;
    }
    writeln!(out, "}};\n#endif\n")
}

fn write_row(out: &mut String, row: &[i32], width: CellWidth) -> std::fmt::Result {
    /// Values on a line of the C header, so that lines stay readable.
    const PER_LINE: usize = 16;
    write!(out, "{{")?;
    for (i, cell) in row.iter().enumerate() {
        if i > 0 && i % PER_LINE == 0 {
            writeln!(out)?;
        }
        match width {
            CellWidth::Bits32 => write!(out, "{},", constant(*cell))?,
            // -32768 by itself is a long where int has 16 bits; its value is what counts.
            CellWidth::Bits8 | CellWidth::Bits16 => write!(out, "{cell},")?,
        }
    }
    writeln!(out, "}},")
}

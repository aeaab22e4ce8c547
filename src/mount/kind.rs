//! The kinds of mount and what their axes and terms are called: the one table of such words.

use std::fmt;

use super::term::{Group, Term};

/// How the two axes are arranged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Azimuth below elevation, the azimuth axis upright.
    #[default]
    AzEl,
    /// Hour angle below declination, the first axis toward a celestial pole.
    Polar(Pole),
    /// X below y, the first axis level.
    XY(LowerAxis),
    /// Azimuth below elevation on a base that leans on purpose.
    Slant,
}

/// Toward which celestial pole a polar axis points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Pole {
    /// At latitude zero and more.
    North,
    /// Below.
    South,
}

/// How the lower axis of an x-y mount lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LowerAxis {
    /// Its outer end is the north end; x is positive toward east, y toward north.
    NorthSouth,
    /// Its outer end is the east end; x is positive toward north, y toward east.
    EastWest,
}

/// What the readings of an axis count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AxisKind {
    /// Clockwise from north.
    Azimuth,
    /// Up from the horizon.
    Elevation,
    /// Westward from the meridian.
    HourAngle,
    /// Northward from the equator.
    Declination,
    /// About the lower axis of an x-y mount, from the zenith.
    X,
    /// About its upper axis.
    Y,
}

impl AxisKind {
    /// In columns and keys, its words joined by underscores.
    pub const fn key(self) -> &'static str {
        match self {
            AxisKind::Azimuth => "azimuth",
            AxisKind::Elevation => "elevation",
            AxisKind::HourAngle => "hour_angle",
            AxisKind::Declination => "declination",
            AxisKind::X => "x",
            AxisKind::Y => "y",
        }
    }
    /// In sentences.
    pub const fn words(self) -> &'static str {
        match self {
            AxisKind::Azimuth => "azimuth",
            AxisKind::Elevation => "elevation",
            AxisKind::HourAngle => "hour angle",
            AxisKind::Declination => "declination",
            AxisKind::X => "X",
            AxisKind::Y => "Y",
        }
    }
    /// At the beginning of a line.
    pub const fn heading(self) -> &'static str {
        match self {
            AxisKind::Azimuth => "Azimuth",
            AxisKind::Elevation => "Elevation",
            AxisKind::HourAngle => "Hour angle",
            AxisKind::Declination => "Declination",
            AxisKind::X => "X",
            AxisKind::Y => "Y",
        }
    }
    /// The step on the sky across the second axis, when this is that axis, in sentences.
    pub const fn cross_words(self) -> &'static str {
        match self {
            AxisKind::Elevation => "cross-elevation",
            AxisKind::Declination => "cross-declination",
            AxisKind::Y => "cross-Y",
            _ => "cross",
        }
    }
    /// The same in columns and keys.
    pub const fn cross_key(self) -> &'static str {
        match self {
            AxisKind::Elevation => "cross_elevation",
            AxisKind::Declination => "cross_declination",
            AxisKind::Y => "cross_y",
            _ => "cross",
        }
    }
    /// Which way a growing reading turns the dish.
    pub const fn increasing(self) -> &'static str {
        match self {
            AxisKind::Azimuth => "clockwise",
            AxisKind::Elevation => "up",
            AxisKind::HourAngle => "west",
            AxisKind::Declination => "north",
            AxisKind::X => "to larger X",
            AxisKind::Y => "to larger Y",
        }
    }
    /// Which way a falling reading turns it.
    pub const fn decreasing(self) -> &'static str {
        match self {
            AxisKind::Azimuth => "anticlockwise",
            AxisKind::Elevation => "down",
            AxisKind::HourAngle => "east",
            AxisKind::Declination => "south",
            AxisKind::X => "to smaller X",
            AxisKind::Y => "to smaller Y",
        }
    }
}

/// The name in files of every term: of az-el and slant mounts, of polar mounts, of x-y mounts.
/// Empty where that kind of mount has no such term.
const TERMS: [(Term, [&str; 3]); Term::COUNT] = [
    (
        Term::AzimuthZero,
        ["azimuth-zero", "hour-angle-zero", "x-zero"],
    ),
    (
        Term::ElevationZero,
        ["elevation-zero", "declination-zero", "y-zero"],
    ),
    (
        Term::TiltNorth,
        ["tilt-north", "polar-axis-high", "lower-axis-high"],
    ),
    (
        Term::TiltEast,
        ["tilt-east", "polar-axis-east", "lower-axis-clockwise"],
    ),
    (Term::Collimation, ["collimation"; 3]),
    (Term::AxisSkew, ["axis-skew"; 3]),
    (Term::Droop, ["droop"; 3]),
    (
        Term::AzimuthScale,
        ["azimuth-scale", "hour-angle-scale", "x-scale"],
    ),
    (
        Term::ElevationScale,
        ["elevation-scale", "declination-scale", "y-scale"],
    ),
    (
        Term::AzimuthRunoutCos,
        [
            "azimuth-runout-cos",
            "hour-angle-runout-cos",
            "x-runout-cos",
        ],
    ),
    (
        Term::AzimuthRunoutSin,
        [
            "azimuth-runout-sin",
            "hour-angle-runout-sin",
            "x-runout-sin",
        ],
    ),
    (
        Term::ElevationRunoutCos,
        [
            "elevation-runout-cos",
            "declination-runout-cos",
            "y-runout-cos",
        ],
    ),
    (
        Term::ElevationRunoutSin,
        [
            "elevation-runout-sin",
            "declination-runout-sin",
            "y-runout-sin",
        ],
    ),
    (Term::TrackWarpCos, ["track-warp-cos", "", ""]),
    (Term::TrackWarpSin, ["track-warp-sin", "", ""]),
    (
        Term::AzimuthBacklash,
        ["azimuth-backlash", "hour-angle-backlash", "x-backlash"],
    ),
    (
        Term::ElevationBacklash,
        ["elevation-backlash", "declination-backlash", "y-backlash"],
    ),
    (Term::ClockOffset, ["clock-offset"; 3]),
];

/// The name in full of every term, in the order of [`Term::ALL`], for the same three kinds.
const WORDS: [[&str; 3]; Term::COUNT] = [
    ["azimuth zero", "hour angle zero", "X zero"],
    ["elevation zero", "declination zero", "Y zero"],
    [
        "axis tilt, north part",
        "polar axis high",
        "lower axis high",
    ],
    [
        "axis tilt, east part",
        "polar axis east",
        "lower axis clockwise",
    ],
    ["collimation"; 3],
    ["axis skew"; 3],
    ["droop"; 3],
    ["azimuth scale", "hour angle scale", "X scale"],
    ["elevation scale", "declination scale", "Y scale"],
    [
        "azimuth runout, cos part",
        "hour angle runout, cos part",
        "X runout, cos part",
    ],
    [
        "azimuth runout, sin part",
        "hour angle runout, sin part",
        "X runout, sin part",
    ],
    [
        "elevation runout, cos part",
        "declination runout, cos part",
        "Y runout, cos part",
    ],
    [
        "elevation runout, sin part",
        "declination runout, sin part",
        "Y runout, sin part",
    ],
    ["track warp, cos part", "", ""],
    ["track warp, sin part", "", ""],
    ["azimuth backlash", "hour angle backlash", "X backlash"],
    ["elevation backlash", "declination backlash", "Y backlash"],
    ["clock offset"; 3],
];

/// The name in full of every group of terms.
const GROUPS: [(Group, [&str; 3]); 14] = [
    (
        Group::AzimuthZero,
        ["azimuth zero", "hour angle zero", "X zero"],
    ),
    (
        Group::ElevationZero,
        ["elevation zero", "declination zero", "Y zero"],
    ),
    (
        Group::Tilt,
        ["axis tilt", "polar axis alignment", "lower axis alignment"],
    ),
    (
        Group::Collimation,
        ["collimation", "collimation", "collimation"],
    ),
    (Group::AxisSkew, ["axis skew", "axis skew", "axis skew"]),
    (Group::Droop, ["droop", "droop", "droop"]),
    (
        Group::AzimuthScale,
        ["azimuth scale", "hour angle scale", "X scale"],
    ),
    (
        Group::ElevationScale,
        ["elevation scale", "declination scale", "Y scale"],
    ),
    (
        Group::AzimuthRunout,
        ["azimuth runout", "hour angle runout", "X runout"],
    ),
    (
        Group::ElevationRunout,
        ["elevation runout", "declination runout", "Y runout"],
    ),
    (Group::TrackWarp, ["track warp", "", ""]),
    (
        Group::AzimuthBacklash,
        ["azimuth backlash", "hour angle backlash", "X backlash"],
    ),
    (
        Group::ElevationBacklash,
        ["elevation backlash", "declination backlash", "Y backlash"],
    ),
    (
        Group::ClockOffset,
        ["clock offset", "clock offset", "clock offset"],
    ),
];

impl Kind {
    /// As the station file calls it.
    pub const fn name(self) -> &'static str {
        match self {
            Kind::AzEl => "az-el",
            Kind::Polar(_) => "polar",
            Kind::XY(_) => "x-y",
            Kind::Slant => "slant",
        }
    }
    /// What is read at the first axis and at the second.
    pub const fn axes(self) -> [AxisKind; 2] {
        match self {
            Kind::AzEl | Kind::Slant => [AxisKind::Azimuth, AxisKind::Elevation],
            Kind::Polar(_) => [AxisKind::HourAngle, AxisKind::Declination],
            Kind::XY(_) => [AxisKind::X, AxisKind::Y],
        }
    }
    /// The first axis as a part of the machine.
    pub const fn axis_1(self) -> &'static str {
        match self {
            Kind::AzEl | Kind::Slant => "azimuth axis",
            Kind::Polar(_) => "polar axis",
            Kind::XY(_) => "lower axis",
        }
    }
    /// The second axis as a part of the machine.
    pub const fn axis_2(self) -> &'static str {
        match self {
            Kind::AzEl | Kind::Slant => "elevation axis",
            Kind::Polar(_) => "declination axis",
            Kind::XY(_) => "upper axis",
        }
    }
    /// Where the keyhole lies.
    pub const fn keyhole(self) -> &'static str {
        match self {
            Kind::AzEl => "the zenith",
            Kind::Polar(Pole::North) => "the north celestial pole",
            Kind::Polar(Pole::South) => "the south celestial pole",
            Kind::XY(LowerAxis::NorthSouth) => "the north and south points of the horizon",
            Kind::XY(LowerAxis::EastWest) => "the east and west points of the horizon",
            Kind::Slant => "the direction of the slanted axis",
        }
    }
    /// Whether the first axis stands upright and its readings are azimuth and elevation of the sky.
    pub const fn is_az_el(self) -> bool {
        matches!(self, Kind::AzEl)
    }
    /// Whether the first axis carries a track or ring that may be warped.
    pub const fn has_track(self) -> bool {
        matches!(self, Kind::AzEl | Kind::Slant)
    }
    const fn column(self) -> usize {
        match self {
            Kind::AzEl | Kind::Slant => 0,
            Kind::Polar(_) => 1,
            Kind::XY(_) => 2,
        }
    }
    /// A term's name in full.
    pub const fn term_words(self, term: Term) -> &'static str {
        WORDS[term as usize][self.column()]
    }
    /// A group's name in full.
    pub fn group_words(self, group: Group) -> &'static str {
        (GROUPS.iter())
            .find(|(g, _)| *g == group)
            .map_or("", |(_, words)| words[self.column()])
    }
    /// A sentence with the words of this kind in the places of its marks: `<azimuth axis>` and
    /// `<elevation axis>` are the first and the second axis as parts of the machine, `<azimuth>` and
    /// `<elevation>` what they read (with a capital at the beginning of a sentence), `<azimuth_>` and
    /// `<azimuth->` the beginnings of keys and names. Bare words are directions of the sky.
    pub fn said(self, sentence: &str) -> String {
        let mut said = sentence.to_owned();
        for (mark, words) in self.marks() {
            if said.contains('<') {
                said = said.replace(mark, &words);
            }
        }
        said
    }
    /// The marks and what stands for them.
    fn marks(self) -> [(&'static str, String); 13] {
        let [one, two] = self.axes();
        let track = self.has_track();
        let either = |with: &str, without: &str| if track { with } else { without }.to_owned();
        [
            ("<azimuth axis>", self.axis_1().to_owned()),
            ("<elevation axis>", self.axis_2().to_owned()),
            ("<azimuth>", one.words().to_owned()),
            ("<elevation>", two.words().to_owned()),
            ("<Azimuth>", one.heading().to_owned()),
            ("<Elevation>", two.heading().to_owned()),
            ("<azimuth_>", format!("{}_", one.key())),
            ("<elevation_>", format!("{}_", two.key())),
            ("<azimuth->", format!("{}-", one.key().replace('_', "-"))),
            ("<elevation->", format!("{}-", two.key().replace('_', "-"))),
            ("<leans>", either("leans", "points")),
            (
                "<clockwise>",
                either("clockwise seen from above", one.increasing()),
            ),
            (
                "<track or bearing>",
                either("a track or a squeezed bearing", "a squeezed bearing"),
            ),
        ]
    }
    /// A key of a file or a machine-readable result as it reads for this kind: what an az-el mount
    /// calls azimuth and elevation is named for this mount's axes. Keys that speak of directions of
    /// the sky stay as they are.
    pub fn key_of(self, key: &str) -> String {
        const OF_THE_SKY: [&str; 5] = [
            "apparent_",
            "geometric_",
            "demand_",
            "_points_to_",
            "expected_largest_at",
        ];
        if self.column() == 0 || OF_THE_SKY.iter().any(|part| key.contains(part)) {
            return key.to_owned();
        }
        let [one, two] = self.axes();
        key.replace("cross_elevation", two.cross_key())
            .replace("azimuth", one.key())
            .replace("elevation", two.key())
    }
    /// The name in files of a term.
    pub const fn term_name(self, term: Term) -> &'static str {
        TERMS[term as usize].1[self.column()]
    }
    /// Whether this kind of mount has the term.
    pub const fn has(self, term: Term) -> bool {
        !self.term_name(term).is_empty()
    }
    /// The term of that name.
    pub fn term_by_name(self, name: &str) -> Option<Term> {
        self.terms().find(|t| self.term_name(*t) == name)
    }
    /// Its terms, in the order of the table in docs/files.md.
    pub fn terms(self) -> impl Iterator<Item = Term> {
        Term::ALL.into_iter().filter(move |t| self.has(*t))
    }
    /// The term that has that name on some kind of mount.
    pub fn term_of_any(name: &str) -> Option<Term> {
        (TERMS.iter())
            .find(|(_, names)| !name.is_empty() && names.contains(&name))
            .map(|(term, _)| *term)
    }
    /// The names of the terms of every kind of mount, each once.
    pub fn names_of_any() -> Vec<&'static str> {
        let mut names: Vec<&str> = Vec::new();
        for name in (0..3).flat_map(|column| TERMS.iter().map(move |(_, n)| n[column])) {
            if !name.is_empty() && !names.contains(&name) {
                names.push(name);
            }
        }
        names
    }
    /// The names of its terms.
    pub fn term_names(self) -> Vec<&'static str> {
        self.terms().map(|t| self.term_name(t)).collect()
    }
    /// The kinds of mount, other than this, on which a term has that name.
    pub fn others_with(self, name: &str) -> Option<&'static str> {
        (TERMS.iter())
            .flat_map(|(_, names)| names.iter().enumerate())
            .find(|(column, n)| **n == name && *column != self.column())
            .map(|(column, _)| ["az-el and slant", "polar", "x-y"][column])
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_of_names_stands_in_the_order_of_the_terms() {
        for (place, (term, names)) in TERMS.iter().enumerate() {
            assert_eq!(*term as usize, place);
            assert_eq!(names.map(str::is_empty), WORDS[place].map(str::is_empty));
            assert!(!names[0].is_empty());
        }
    }

    #[test]
    fn a_sentence_gets_the_words_of_the_kind() {
        let sentence = "<Azimuth> encoder: loosen the <azimuth axis>, not the <elevation axis>; see \
                        <elevation_>approach, <azimuth->zero and the azimuth of the Sun";
        assert_eq!(
            Kind::Polar(Pole::North).said(sentence),
            "Hour angle encoder: loosen the polar axis, not the declination axis; see \
             declination_approach, hour-angle-zero and the azimuth of the Sun"
        );
        assert_eq!(Kind::AzEl.said(sentence), sentence.replace(['<', '>'], ""));
    }

    #[test]
    fn names_are_found_again_and_no_kind_takes_those_of_another() {
        for kind in [
            Kind::AzEl,
            Kind::Slant,
            Kind::Polar(Pole::North),
            Kind::XY(LowerAxis::EastWest),
        ] {
            for term in kind.terms() {
                assert_eq!(kind.term_by_name(kind.term_name(term)), Some(term));
            }
        }
        let polar = Kind::Polar(Pole::South);
        assert_eq!(polar.term_by_name("azimuth-zero"), None);
        assert_eq!(polar.others_with("azimuth-zero"), Some("az-el and slant"));
        assert_eq!(polar.term_by_name(""), None);
        assert!(!polar.has(Term::TrackWarpCos));
    }
}

//! Strong radio sources by name: position and flux density.
//!
//! Positions are ICRS, of the centroid of each source's radio emission, rounded; good to half an
//! arcminute for the extended ones. All numbers in this file were written down from memory of the
//! sources named beside them, and are for planning and pointing, not for flux calibration.

use crate::angle::Angle;

/// One strong source.
#[derive(Clone, Copy, Debug)]
pub struct RadioSource {
    /// The usual name.
    pub name: &'static str,
    /// Other names, in common spellings.
    pub aliases: &'static [&'static str],
    /// ICRS right ascension.
    pub right_ascension: Angle,
    /// ICRS declination.
    pub declination: Angle,
    /// Flux density.
    pub spectrum: FluxSpectrum,
    /// Largest extent on the sky: a beam narrower than this sees only part of the source.
    pub extent: Angle,
    /// Publication of the flux density.
    pub published: &'static str,
    /// Remark for the user; may be empty.
    pub note: &'static str,
}

/// Flux density as a function of frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FluxSpectrum {
    /// log10(flux in jansky) = sum of coefficient i x log10(frequency in GHz)^i.
    pub coefficients: &'static [f64],
    /// Range of validity, megahertz.
    pub valid_mhz: (f64, f64),
}

impl FluxSpectrum {
    /// Flux density in jansky; `None` outside the range of validity.
    pub fn flux_jy(&self, frequency_mhz: f64) -> Option<f64> {
        let (from, to) = self.valid_mhz;
        if !(from..=to).contains(&frequency_mhz) {
            return None;
        }
        let x = (frequency_mhz / 1000.0).log10();
        let exponent = self
            .coefficients
            .iter()
            .rev()
            .fold(0.0, |sum, c| sum * x + c);
        Some(10f64.powf(exponent))
    }
}

/// Finds a source by name or alias; case, blanks, hyphens and underscores are ignored.
pub fn by_name(name: &str) -> Option<&'static RadioSource> {
    let wanted = folded(name);
    ALL.iter().find(|source| {
        std::iter::once(&source.name)
            .chain(source.aliases)
            .any(|known| folded(known) == wanted)
    })
}

fn folded(name: &str) -> String {
    name.chars()
        .filter(|c| !matches!(c, ' ' | '-' | '_'))
        .flat_map(char::to_lowercase)
        .collect()
}

const PERLEY_BUTLER: &str =
    "Perley and Butler 2017, The Astrophysical Journal Supplement 230, 7 (from memory)";
const ROUGH: &str = "order of magnitude only, from memory, no single source";

/// All sources of the catalogue.
pub const ALL: &[RadioSource] = &[
    RadioSource {
        name: "Cas A",
        aliases: &["Cassiopeia A", "3C 461"],
        right_ascension: Angle::from_degrees(350.8584),
        declination: Angle::from_degrees(58.8130),
        spectrum: FluxSpectrum {
            coefficients: &[3.3584, -0.7518, -0.0347, -0.0705],
            valid_mhz: (200.0, 4_000.0),
        },
        extent: Angle::from_degrees(5.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "fades by some 0.6 % a year; the flux is that of about 2016",
    },
    RadioSource {
        name: "Cyg A",
        aliases: &["Cygnus A", "3C 405"],
        right_ascension: Angle::from_degrees(299.86815),
        declination: Angle::from_degrees(40.73392),
        spectrum: FluxSpectrum {
            coefficients: &[3.3498, -1.0022, -0.2246, 0.0227, 0.0425],
            valid_mhz: (50.0, 12_000.0),
        },
        extent: Angle::from_degrees(2.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "Tau A",
        aliases: &["Taurus A", "Crab Nebula", "Crab", "3C 144", "M 1"],
        right_ascension: Angle::from_degrees(83.6331),
        declination: Angle::from_degrees(22.0145),
        spectrum: FluxSpectrum {
            coefficients: &[2.9516, -0.2173, -0.0473, -0.0674],
            valid_mhz: (50.0, 4_000.0),
        },
        extent: Angle::from_degrees(7.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "fades by some 0.2 % a year",
    },
    RadioSource {
        name: "Vir A",
        aliases: &["Virgo A", "3C 274", "M 87"],
        right_ascension: Angle::from_degrees(187.70593),
        declination: Angle::from_degrees(12.39112),
        spectrum: FluxSpectrum {
            coefficients: &[2.4466, -0.8116, -0.0483],
            valid_mhz: (50.0, 3_000.0),
        },
        extent: Angle::from_degrees(14.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "Her A",
        aliases: &["Hercules A", "3C 348"],
        right_ascension: Angle::from_degrees(252.78396),
        declination: Angle::from_degrees(4.99259),
        spectrum: FluxSpectrum {
            coefficients: &[1.8298, -1.0247, -0.0951],
            valid_mhz: (200.0, 12_000.0),
        },
        extent: Angle::from_degrees(3.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "Hydra A",
        aliases: &["Hya A", "3C 218"],
        right_ascension: Angle::from_degrees(139.52354),
        declination: Angle::from_degrees(-12.09555),
        spectrum: FluxSpectrum {
            coefficients: &[1.7795, -0.9176, -0.0843, -0.0139, 0.0295],
            valid_mhz: (50.0, 12_000.0),
        },
        extent: Angle::from_degrees(8.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "Pictor A",
        aliases: &["Pic A"],
        right_ascension: Angle::from_degrees(79.95723),
        declination: Angle::from_degrees(-45.77881),
        spectrum: FluxSpectrum {
            coefficients: &[1.9380, -0.7470, -0.0739],
            valid_mhz: (200.0, 4_000.0),
        },
        extent: Angle::from_degrees(8.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "Fornax A",
        aliases: &["For A"],
        right_ascension: Angle::from_degrees(50.67375),
        declination: Angle::from_degrees(-37.20833),
        spectrum: FluxSpectrum {
            coefficients: &[2.2175, -0.6606],
            valid_mhz: (200.0, 500.0),
        },
        extent: Angle::from_degrees(55.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "two lobes half a degree apart: only for wide beams",
    },
    RadioSource {
        name: "3C 123",
        aliases: &[],
        right_ascension: Angle::from_degrees(69.26823),
        declination: Angle::from_degrees(29.67050),
        spectrum: FluxSpectrum {
            coefficients: &[1.8017, -0.7884, -0.1035, -0.0248, 0.0090],
            valid_mhz: (50.0, 50_000.0),
        },
        extent: Angle::from_degrees(0.7 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "3C 286",
        aliases: &[],
        right_ascension: Angle::from_degrees(202.78453),
        declination: Angle::from_degrees(30.50916),
        spectrum: FluxSpectrum {
            coefficients: &[1.2481, -0.4507, -0.1798, 0.0357],
            valid_mhz: (50.0, 50_000.0),
        },
        extent: Angle::from_degrees(0.05 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "3C 295",
        aliases: &[],
        right_ascension: Angle::from_degrees(212.83550),
        declination: Angle::from_degrees(52.20278),
        spectrum: FluxSpectrum {
            coefficients: &[1.4701, -0.7658, -0.2780, -0.0347, 0.0399],
            valid_mhz: (50.0, 50_000.0),
        },
        extent: Angle::from_degrees(0.1 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "3C 353",
        aliases: &[],
        right_ascension: Angle::from_degrees(260.11733),
        declination: Angle::from_degrees(-0.97961),
        spectrum: FluxSpectrum {
            coefficients: &[1.8627, -0.6938, -0.0998, -0.0732],
            valid_mhz: (200.0, 4_000.0),
        },
        extent: Angle::from_degrees(5.0 / 60.0),
        published: PERLEY_BUTLER,
        note: "",
    },
    RadioSource {
        name: "3C 273",
        aliases: &[],
        right_ascension: Angle::from_degrees(187.27792),
        declination: Angle::from_degrees(2.05239),
        spectrum: FluxSpectrum {
            coefficients: &[1.67, -0.25],
            valid_mhz: (1_000.0, 15_000.0),
        },
        extent: Angle::from_degrees(0.4 / 60.0),
        published: ROUGH,
        note: "varies over years by tens of percent",
    },
    RadioSource {
        name: "Ori A",
        aliases: &["Orion A", "Orion Nebula", "M 42"],
        right_ascension: Angle::from_degrees(83.8180),
        declination: Angle::from_degrees(-5.3890),
        spectrum: FluxSpectrum {
            coefficients: &[2.6],
            valid_mhz: (1_400.0, 15_000.0),
        },
        extent: Angle::from_degrees(10.0 / 60.0),
        published: ROUGH,
        note: "lies in extended emission; thermal, so nearly flat above 1.4 GHz",
    },
    RadioSource {
        name: "Sgr A",
        aliases: &["Sagittarius A", "Galactic Centre", "Galactic Center"],
        right_ascension: Angle::from_degrees(266.41683),
        declination: Angle::from_degrees(-29.00781),
        spectrum: FluxSpectrum {
            coefficients: &[2.6, -0.3],
            valid_mhz: (1_000.0, 10_000.0),
        },
        extent: Angle::from_degrees(20.0 / 60.0),
        published: ROUGH,
        note: "embedded in the Milky Way's ridge: what a beam collects depends on its width, and the peak may shift",
    },
    RadioSource {
        name: "Cen A",
        aliases: &["Centaurus A"],
        right_ascension: Angle::from_degrees(201.36506),
        declination: Angle::from_degrees(-43.01911),
        spectrum: FluxSpectrum {
            coefficients: &[3.2, -0.65],
            valid_mhz: (400.0, 5_000.0),
        },
        extent: Angle::from_degrees(8.0),
        published: ROUGH,
        note: "spread over 8 degrees; the inner lobes, a fifth of the flux, span 10 arcmin and make the peak",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_found_however_they_are_spelled() {
        for name in [
            "Cas A",
            "cas-a",
            "CASSIOPEIA A",
            "3C 461",
            "3c461",
            "cassiopeia_a",
        ] {
            assert_eq!(by_name(name).unwrap().name, "Cas A", "{name}");
        }
        assert_eq!(by_name("crab nebula").unwrap().name, "Tau A");
        assert!(by_name("Cas B").is_none());
    }

    #[test]
    fn no_two_sources_share_a_name() {
        let mut names: Vec<String> = ALL
            .iter()
            .flat_map(|s| std::iter::once(&s.name).chain(s.aliases))
            .map(|n| folded(n))
            .collect();
        let count = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), count);
    }

    /// The scale of Baars and others 1977, Astronomy and Astrophysics 61, 99 (from memory): log10 S
    /// = a + b log10(MHz), an older, independent scale. The difference between the scales,
    /// including the fading of the two supernova remnants since 1980, is less than this.
    const SCALES_AGREE: f64 = 0.25;

    #[test]
    fn fluxes_agree_with_an_older_scale() {
        for (name, a, b) in [
            ("Cas A", 5.745, -0.770),
            ("Cyg A", 7.161, -1.244),
            ("Tau A", 3.915, -0.299),
            ("Vir A", 5.023, -0.856),
        ] {
            let mhz = 2_500.0_f64;
            let older = 10f64.powf(a + b * mhz.log10());
            let here = by_name(name).unwrap().spectrum.flux_jy(mhz).unwrap();
            assert!(
                (here / older - 1.0).abs() < SCALES_AGREE,
                "{name}: {here} and {older}"
            );
        }
    }

    #[test]
    fn no_flux_is_given_outside_the_published_range() {
        assert!(
            by_name("Cyg A")
                .unwrap()
                .spectrum
                .flux_jy(24_000.0)
                .is_none()
        );
    }
}

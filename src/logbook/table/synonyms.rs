//! Guesses the meaning of unknown headers from words in several languages. Only a suggestion: the
//! user is asked to confirm it.

/// Words for one thing, without accents, in English, German, French, Spanish, Italian, Portuguese,
/// Dutch and the Scandinavian languages. Words of five letters or more also match as prefixes.
struct Thing {
    name: &'static str,
    words: &'static [&'static str],
}

/// What a column may contain.
const THINGS: [Thing; 17] = [
    Thing {
        name: "time",
        words: &[
            "time",
            "datetime",
            "timestamp",
            "date",
            "utc",
            "zeit",
            "uhrzeit",
            "datum",
            "zeitpunkt",
            "zeitstempel",
            "heure",
            "horodatage",
            "fecha",
            "hora",
            "ora",
            "data",
            "tijd",
            "tijdstip",
            "tid",
            "dato",
            "unix",
            "epoch",
            "when",
        ],
    },
    Thing {
        name: "emitter",
        words: &[
            "emitter",
            "source",
            "target",
            "object",
            "satellite",
            "sat",
            "beacon",
            "transmitter",
            "quelle",
            "ziel",
            "objekt",
            "satellit",
            "sender",
            "bake",
            "cible",
            "objet",
            "emetteur",
            "balise",
            "fuente",
            "objetivo",
            "objeto",
            "emisor",
            "satelite",
            "sorgente",
            "bersaglio",
            "oggetto",
            "fonte",
            "alvo",
            "bron",
            "doel",
            "zender",
            "kilde",
            "mal",
            "kalla",
            "name",
        ],
    },
    Thing {
        name: "azimuth",
        words: &["azimuth", "azimut", "acimut", "asimut", "azi", "az", "azm"],
    },
    Thing {
        name: "elevation",
        words: &[
            "elevation",
            "elev",
            "ele",
            "el",
            "altitude",
            "alt",
            "hohe",
            "hoehe",
            "hohenwinkel",
            "hoehenwinkel",
            "hauteur",
            "elevacion",
            "altura",
            "elevazione",
            "altezza",
            "elevacao",
            "elevatie",
            "hoogte",
            "elevasjon",
            "hoyde",
            "hojde",
        ],
    },
    Thing {
        name: "hour_angle",
        words: &[
            "ha",
            "hourangle",
            "stundenwinkel",
            "uurhoek",
            "timvinkel",
            "timevinkel",
            "horaire",
            "horario",
            "orario",
        ],
    },
    Thing {
        name: "declination",
        words: &[
            "declination",
            "dec",
            "decl",
            "dekl",
            "deklination",
            "declinaison",
            "declinacion",
            "declinazione",
            "declinacao",
            "declinatie",
            "deklinasjon",
        ],
    },
    Thing {
        name: "x",
        words: &["x"],
    },
    Thing {
        name: "y",
        words: &["y"],
    },
    Thing {
        name: "sigma",
        words: &[
            "sigma",
            "error",
            "err",
            "uncertainty",
            "sd",
            "std",
            "fehler",
            "unsicherheit",
            "streuung",
            "erreur",
            "incertitude",
            "incertidumbre",
            "errore",
            "incertezza",
            "erro",
            "incerteza",
            "fout",
            "onzekerheid",
            "feil",
            "usikkerhet",
            "fel",
        ],
    },
    Thing {
        name: "approach",
        words: &[
            "approach",
            "direction",
            "dir",
            "side",
            "sense",
            "richtung",
            "anfahrt",
            "seite",
            "drehsinn",
            "sens",
            "approche",
            "sentido",
            "direccion",
            "senso",
            "direzione",
            "direcao",
            "richting",
            "retning",
            "riktning",
        ],
    },
    Thing {
        name: "peak",
        words: &[
            "peak", "maximum", "max", "spitze", "pic", "pico", "picco", "piek", "topp",
        ],
    },
    Thing {
        name: "power",
        words: &[
            "power",
            "level",
            "signal",
            "rssi",
            "snr",
            "db",
            "dbm",
            "dbfs",
            "leistung",
            "pegel",
            "puissance",
            "niveau",
            "potencia",
            "nivel",
            "potenza",
            "livello",
            "vermogen",
            "effekt",
            "effekt",
            "niva",
        ],
    },
    Thing {
        name: "counts",
        words: &[
            "counts", "count", "adc", "raw", "zahler", "zaehler", "cuentas", "coups",
        ],
    },
    Thing {
        name: "temperature",
        words: &[
            "temperature",
            "temp",
            "temperatur",
            "temperatura",
            "temperatuur",
            "celsius",
        ],
    },
    Thing {
        name: "use",
        words: &[
            "use",
            "used",
            "ok",
            "good",
            "valid",
            "verwenden",
            "gultig",
            "gueltig",
            "utiliser",
            "valide",
            "usar",
            "valido",
            "usare",
            "gebruik",
            "bruk",
        ],
    },
    Thing {
        name: "note",
        words: &[
            "note",
            "notes",
            "remark",
            "remarks",
            "comment",
            "comments",
            "bemerkung",
            "bemerkungen",
            "notiz",
            "kommentar",
            "anmerkung",
            "remarque",
            "remarques",
            "commentaire",
            "nota",
            "notas",
            "observaciones",
            "commento",
            "observacoes",
            "opmerking",
            "opmerkingen",
            "anmarkning",
            "merknad",
        ],
    },
    Thing {
        name: "scan",
        words: &[
            "scan",
            "sweep",
            "run",
            "cut",
            "durchgang",
            "schnitt",
            "balayage",
            "barrido",
        ],
    },
];

/// Words that make an axis reading more likely, and those that suggest another angle.
const MEASURED: [&str; 14] = [
    "encoder", "enc", "reading", "read", "measured", "actual", "ist", "istwert", "gemessen",
    "mesure", "medido", "misurato", "gemeten", "rotor",
];
const DEMANDED: [&str; 19] = [
    "soll",
    "sollwert",
    "target",
    "demand",
    "commanded",
    "cmd",
    "predicted",
    "calculated",
    "calc",
    "computed",
    "true",
    "set",
    "consigne",
    "calcule",
    "teorico",
    "offset",
    "diff",
    "delta",
    "rate",
];

/// A longer text is a sentence, not a header: the file is not a table.
const MOST_WORDS: usize = 5;

/// How well a header fits a known column, from 0 (not at all) to about 1.
pub fn fit(known: &str, header: &str) -> f64 {
    let words = words_of(header);
    if words.is_empty() || words.len() > MOST_WORDS {
        return 0.0;
    }
    let about = |thing: &str| words.iter().any(|w| is_word_for(w, thing));
    let axis = ["azimuth", "elevation", "hour_angle", "declination"];
    let reading = |axis: &str| {
        // Hour angle written as two words.
        about(axis)
    };
    let side = known.strip_suffix("_approach");
    let error = known.strip_suffix("_sigma_deg");
    let angle =
        (known.strip_suffix("_deg").or(known.strip_suffix("_hours"))).filter(|_| error.is_none());
    let fits = if let Some(axis) = side {
        reading(axis) && about("approach")
    } else if let Some(axis) = error {
        reading(axis) && about("sigma")
    } else if let Some(axis) = angle {
        let hours = words
            .iter()
            .any(|w| ["h", "hours", "stunden", "heures", "horas"].contains(&&**w));
        let as_hours = known.ends_with("_hours");
        reading(axis) && !about("approach") && !about("sigma") && hours == as_hours
    } else {
        let other = axis.iter().any(|a| about(a));
        match known {
            "time_utc" => about("time"),
            "emitter" => about("emitter"),
            "peak_db" => (about("peak") || about("power")) && !other,
            "power_db" => about("power") && !other,
            "power_linear" => {
                about("power") && !other && !words.iter().any(|w| w.starts_with("db"))
            }
            "temperature_c" => about("temperature"),
            other => about(other),
        }
    };
    if !fits {
        return 0.0;
    }
    let many = |list: &[&str]| words.iter().filter(|w| list.contains(&w.as_str())).count() as f64;
    let extra = (words.len() - 1) as f64;
    (1.0 - 0.05 * extra + 0.2 * many(&MEASURED) - 0.4 * many(&DEMANDED)).clamp(0.05, 1.0)
}

fn is_word_for(word: &str, thing: &str) -> bool {
    /// Shorter words are prefixes of too many others.
    const LONG: usize = 5;
    (THINGS.iter().filter(|t| t.name == thing))
        .flat_map(|t| t.words)
        .any(|w| word == *w || (w.len() >= LONG && word.starts_with(w)))
}

/// The words of a header in lower case without accents.
fn words_of(header: &str) -> Vec<String> {
    let plain: String = header
        .chars()
        .flat_map(char::to_lowercase)
        .map(without_accent)
        .collect();
    (plain.split(|c: char| !c.is_alphanumeric()))
        .filter(|w| !w.is_empty())
        .map(str::to_owned)
        .collect()
}

fn without_accent(c: char) -> char {
    match c {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => 'a',
        'ç' => 'c',
        'è' | 'é' | 'ê' | 'ë' => 'e',
        'ì' | 'í' | 'î' | 'ï' => 'i',
        'ñ' => 'n',
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' => 'o',
        'ù' | 'ú' | 'û' | 'ü' => 'u',
        _ => c,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn best(known: &str, headers: &[&str]) -> String {
        let scored = headers.iter().map(|h| (fit(known, h), *h));
        let best = scored.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
        assert!(best.0 > 0.0, "{known} in {headers:?}");
        best.1.to_owned()
    }

    #[test]
    fn common_headers_in_several_languages_are_recognised() {
        for headers in [
            ["Datum Uhrzeit", "Quelle", "Azimut", "Höhe"],
            ["Date et heure", "Satellite", "Azimut (°)", "Hauteur (°)"],
            ["Fecha y hora", "Fuente", "Acimut", "Elevación"],
            ["Data e ora", "Sorgente", "Azimut", "Elevazione"],
            ["Data/hora", "Fonte", "Azimute", "Elevação"],
            ["Datum en tijd", "Bron", "Azimut", "Elevatie"],
            ["Tid", "Kilde", "Azimut", "Elevasjon"],
            ["Date Time", "Target", "AZ", "EL"],
            ["Timestamp", "Sat.", "Az_enc", "Alt_enc"],
        ] {
            for (known, header) in ["time_utc", "emitter", "azimuth_deg", "elevation_deg"]
                .iter()
                .zip(headers)
            {
                assert_eq!(best(known, &headers), header, "{known}");
            }
        }
    }

    #[test]
    fn readings_come_before_demands_errors_and_approaches() {
        let headers = ["Az soll", "Az ist", "Az Fehler", "Az Richtung"];
        assert_eq!(best("azimuth_deg", &headers), "Az ist");
        assert_eq!(best("azimuth_sigma_deg", &headers), "Az Fehler");
        assert_eq!(best("azimuth_approach", &headers), "Az Richtung");
        assert_eq!(fit("elevation_deg", "Azimut"), 0.0);
        assert_eq!(fit("note", "Az"), 0.0);
    }

    #[test]
    fn other_columns() {
        for (known, header) in [
            ("temperature_c", "Température (°C)"),
            ("note", "Bemerkungen"),
            ("use", "OK?"),
            ("peak_db", "Pegel dB"),
            ("power_db", "Leistung (dBm)"),
            ("counts", "ADC counts"),
            ("hour_angle_hours", "HA (h)"),
            ("hour_angle_deg", "Stundenwinkel"),
            ("declination_deg", "Dekl."),
        ] {
            assert!(fit(known, header) > 0.0, "{known}: {header}");
        }
        assert_eq!(fit("power_linear", "Leistung (dBm)"), 0.0);
        assert_eq!(fit("hour_angle_deg", "HA (h)"), 0.0);
    }
}

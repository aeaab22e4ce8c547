//! The line by which a verb recognises its own log, and whether the log was edited.

const BEGINNING: &str = "# written by plumbeam ";
const MIDDLE: &str = "; as written the crc32 of the lines above is ";

/// The log with the mark of `verb` as its last line.
pub fn marked(verb: &str, log: &str) -> String {
    format!("{log}{BEGINNING}{verb}{MIDDLE}{}\n", crc32(log))
}

/// The verb that wrote a log, if it bears its mark and was not edited since.
pub fn unedited_of(log: &str) -> Option<String> {
    let lines = log.strip_suffix('\n')?;
    let (above, mark) = lines.rsplit_once('\n')?;
    let above = &log[..=above.len()];
    let (verb, crc) = mark.strip_prefix(BEGINNING)?.split_once(MIDDLE)?;
    (crc == crc32(above)).then(|| verb.to_owned())
}

fn crc32(text: &str) -> String {
    format!("{:08x}", crc32fast::hash(text.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_is_recognised_as_unedited_until_it_is_edited() {
        let log = marked("reduce", "time_utc,emitter\n2026,sun\n");
        assert_eq!(unedited_of(&log).as_deref(), Some("reduce"));
        for edited in [
            log.replace("sun", "moon"),
            log.replace("2026,sun\n", ""),
            log.replace('\n', "\r\n"),
            format!("{log}2027,sun\n"),
            log.trim_end().to_owned(),
            "time_utc,emitter\n".to_owned(),
            String::new(),
        ] {
            assert_eq!(unedited_of(&edited), None, "{edited}");
        }
    }
}

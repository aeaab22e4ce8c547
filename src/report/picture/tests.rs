//! All pictures of a solve together: the files that come out, and that a clash of labels is found.

use super::super::fixture::{self, Session};
use super::*;
use crate::plot::{Picture, Recording, Sheet};

#[test]
fn a_clash_is_found() {
    struct Clashing;
    impl Picture for Clashing {
        fn file_stem(&self) -> &str {
            "clashing"
        }
        fn title(&self) -> String {
            "Title".to_owned()
        }
        fn stamp(&self) -> String {
            String::new()
        }
        fn caption(&self) -> String {
            "Caption".to_owned()
        }
        fn draw<DB: plotters_backend::DrawingBackend>(
            &self,
            canvas: &mut crate::plot::Canvas<DB>,
            body: crate::plot::Rect,
        ) {
            use crate::plot::{Text, colours};
            let style = Text::new(colours::INK, 14.0);
            canvas.text(body.centre(), "one", &style);
            canvas.text((body.centre().0 + 5.0, body.centre().1), "two", &style);
            canvas.text((-5.0, body.centre().1), "three", &style);
        }
    }
    let recording = Recording::of(&Clashing);
    assert_eq!(recording.clashes(), [("one".to_owned(), "two".to_owned())]);
    assert_eq!(recording.strays(), ["three"]);
}

/// The tags of an XML text in order, or why it is not well formed (XML 1.0, section 2.1, as
/// far as plotters writes it: no comments, no processing instructions).
fn tags(xml: &str) -> Result<Vec<String>, String> {
    let mut open: Vec<String> = Vec::new();
    let mut seen = Vec::new();
    let mut rest = xml;
    while let Some(at) = rest.find('<') {
        entities_only(&rest[..at])?;
        let end = rest[at..].find('>').ok_or("a tag without end")? + at;
        let tag = &rest[at + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            if open.pop().as_deref() != Some(name) {
                return Err(format!("</{name}> closes nothing"));
            }
            continue;
        }
        if tag.contains('<') || !tag.matches('"').count().is_multiple_of(2) {
            return Err(format!("<{tag}> is broken"));
        }
        entities_only(tag)?;
        let name = tag.split([' ', '/']).next().unwrap_or_default().to_owned();
        if !tag.ends_with('/') {
            open.push(name.clone());
        }
        seen.push(name);
    }
    entities_only(rest)?;
    if open.is_empty() {
        Ok(seen)
    } else {
        Err(format!("{open:?} left open"))
    }
}

fn entities_only(text: &str) -> Result<(), String> {
    const KNOWN: [&str; 5] = ["amp;", "lt;", "gt;", "quot;", "apos;"];
    for part in text.split('&').skip(1) {
        if !KNOWN.iter().any(|k| part.starts_with(k)) {
            return Err(format!("a bare & before {part:?}"));
        }
    }
    match text.chars().find(|c| c.is_control() && *c != '\n') {
        Some(c) => Err(format!("the control character {c:?}")),
        None => Ok(()),
    }
}

#[test]
fn svg_is_well_formed_whatever_the_user_calls_things() {
    assert!(tags("<a><b></a></b>").is_err() && tags("<a>&</a>").is_err());
    let outcome = fixture::outcome(&Session::default());
    let mut station = fixture::station();
    station.site.name = "<&\"'\u{1b}\u{0}\u{ffff}> \u{202e}".to_owned();
    let report = fixture::report(&outcome, &station, &[]);
    for picture in pictures(&report) {
        for svg in [picture.svg(), picture.inline_svg()] {
            let tags = tags(&svg).unwrap();
            assert_eq!(tags[0], "svg");
            assert!(tags.iter().filter(|t| *t == "text").count() > 5);
            assert!(svg.starts_with("<svg ") && svg.contains("viewBox=\"0 "));
        }
        assert!(picture.svg().contains("&lt;&amp;"));
    }
}

/// Pixels of a PNG, three bytes each, with its width.
fn decoded(bytes: &[u8]) -> (Vec<u8>, usize) {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    assert_eq!(
        (info.width, info.height, info.color_type),
        (1000, 700, png::ColorType::Rgb)
    );
    (pixels, 1000)
}

#[test]
fn png_decodes_and_has_ink_where_it_should() {
    let outcome = fixture::outcome(&Session::default());
    let station = fixture::station();
    let report = fixture::report(&outcome, &station, &[]);
    let mut sheet = Sheet::default();
    for picture in pictures(&report) {
        let (pixels, width) = decoded(&picture.png(&mut sheet).unwrap());
        let inked = |x0: usize, y0: usize, x1: usize, y1: usize| {
            let dark = |x: usize, y: usize| {
                let at = (y * width + x) * 3;
                pixels[at..at + 3]
                    .iter()
                    .map(|v| u32::from(*v))
                    .sum::<u32>()
                    < 450
            };
            (y0..y1)
                .flat_map(|y| (x0..x1).map(move |x| (x, y)))
                .filter(|(x, y)| dark(*x, *y))
                .count()
        };
        let name = picture.file_stem().to_owned();
        assert!(inked(40, 20, 300, 50) > 300, "{name}: no heading");
        assert!(inked(40, 640, 600, 690) > 300, "{name}: no caption");
        assert!(inked(100, 80, 960, 600) > 500, "{name}: an empty body");
        assert_eq!(inked(0, 0, 1000, 15), 0, "{name}: ink in the margin");
        let blue = [0, 114, 178];
        let has_blue = pixels.chunks_exact(3).any(|p| p == blue);
        assert!(has_blue || name == "histogram", "{name}: no mark");
    }
}

//! From a picture to its files.

use std::sync::OnceLock;

use plotters::backend::{DrawingBackend, SVGBackend};
use png::{BitDepth, ColorType, Compression, Encoder, Filter};

use super::axes::Rect;
use super::canvas::{Canvas, Tag};
use super::colours;
use super::indexed::Indexer;
use super::raster::Raster;
use super::style::{Align, Text, UNITS};
use crate::problem::Error;

/// Width of every picture file, pixels: fits a page and a laptop's screen.
pub const WIDTH: f64 = 1000.0;
/// Height of every picture file, pixels.
pub const HEIGHT: f64 = 700.0;

/// White border of every picture, pixels.
const MARGIN: f64 = 40.0;
/// SVG text is set in the reader's own sans-serif, and common ones run up to an eighth wider
/// than the embedded one that is measured here.
const MEASURED_OVER_WIDEST: f64 = 0.88;
/// The part of the sheet between heading and caption.
const BODY: Rect = Rect {
    left: 0.0,
    top: 68.0,
    right: WIDTH,
    bottom: 632.0,
};

/// A picture: what it is called, what to look for in it, and how it is drawn. Its values were
/// prepared before, so that drawing is a pure function of them.
pub trait Picture: Sync {
    /// Name of its files, without folder and ending.
    fn file_stem(&self) -> &str;
    /// Heading.
    fn title(&self) -> String;
    /// What stands at the right of the heading: the site and its days.
    fn stamp(&self) -> String;
    /// In plain words, what to look for.
    fn caption(&self) -> String;
    /// Draws it within `body`.
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect);
}

/// Memory to make one picture's PNG after the other in: to get it anew from the system for each
/// takes about as long as to write the picture's text.
#[derive(Default)]
pub struct Sheet {
    raster: Option<Raster>,
    indexer: Indexer,
}

/// A white raster in place of the used one; none when a picture has no size.
fn white(raster: &mut Option<Raster>) -> Option<&mut Raster> {
    if let Some(used) = raster {
        used.clear();
    } else {
        *raster = Raster::new(WIDTH as u32, HEIGHT as u32);
    }
    raster.as_mut()
}

/// A [`Picture`] of any kind, so that different kinds can stand in one list.
pub trait Render: Sync {
    /// See [`Picture::file_stem`].
    fn file_stem(&self) -> &str;
    /// See [`Picture::title`].
    fn title(&self) -> String;
    /// See [`Picture::caption`].
    fn caption(&self) -> String;
    /// The body as SVG, from which both its file and the element for a page are made.
    fn svg_body(&self) -> SvgBody;
    /// A whole SVG file around a body, heading and caption drawn in.
    fn svg_of(&self, body: &SvgBody) -> String;
    /// A whole SVG file.
    fn svg(&self) -> String {
        self.svg_of(&self.svg_body())
    }
    /// An SVG element for a page that sets heading and caption itself.
    fn inline_svg(&self) -> String {
        self.svg_body().inline()
    }
    /// A whole PNG file, heading and caption drawn in, made on a sheet.
    ///
    /// # Errors
    /// When the encoder fails, which it does only out of memory.
    fn png(&self, sheet: &mut Sheet) -> Result<Vec<u8>, Error>;
    /// What it draws, for judging its layout.
    #[cfg(test)]
    fn recorded(&self) -> super::Recording;
}

impl<P: Picture> Render for P {
    fn file_stem(&self) -> &str {
        Picture::file_stem(self)
    }
    fn title(&self) -> String {
        Picture::title(self)
    }
    fn caption(&self) -> String {
        Picture::caption(self)
    }

    fn svg_body(&self) -> SvgBody {
        let (drawn, tags) = draw_tagged(|canvas| self.draw(canvas, BODY));
        SvgBody { drawn, tags }
    }

    fn svg_of(&self, body: &SvgBody) -> String {
        let (drawn, _) = draw_tagged(|canvas| {
            canvas.rectangle((0.0, 0.0), (WIDTH, HEIGHT), colours::PAPER);
            frame(canvas, self);
        });
        let opening = format!(
            "<svg width=\"{WIDTH}\" height=\"{HEIGHT}\" viewBox=\"0 0 {} {}\" role=\"img\"",
            WIDTH * UNITS,
            HEIGHT * UNITS
        );
        let mut svg = with_opening(&drawn, &opening);
        svg.insert_str(end_of_elements(&svg), elements(&body.drawn));
        svg
    }

    fn png(&self, sheet: &mut Sheet) -> Result<Vec<u8>, Error> {
        let failed = |e: png::EncodingError| {
            Error::io(
                &format!("{}.png", Picture::file_stem(self)),
                "encode",
                std::io::Error::other(e),
            )
        };
        let raster = white(&mut sheet.raster).ok_or_else(|| {
            Error::io(
                Picture::file_stem(self),
                "draw",
                std::io::Error::other("a picture without size"),
            )
        })?;
        let mut canvas = Canvas::new(raster);
        draw_whole(&mut canvas, self);
        // This backend cannot fail.
        let _ = canvas.finish();
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, WIDTH as u32, HEIGHT as u32);
        let image = sheet.indexer.indexed(raster.rgba());
        encoder.set_color(ColorType::Indexed);
        encoder.set_palette(image.palette);
        encoder.set_depth(BitDepth::Eight);
        // The fast way of this encoder counts on many zero bytes: paper has number zero, and
        // most rows equal the one above.
        encoder.set_compression(Compression::Fast);
        encoder.set_filter(Filter::Up);
        let mut writer = encoder.write_header().map_err(failed)?;
        writer.write_image_data(image.pixels).map_err(failed)?;
        writer.finish().map_err(failed)?;
        Ok(bytes)
    }

    #[cfg(test)]
    fn recorded(&self) -> super::Recording {
        super::Recording::of(self)
    }
}

/// The body of a picture as SVG, and the places in it that show a row of the data.
#[derive(Clone, Debug)]
pub struct SvgBody {
    drawn: String,
    tags: Vec<Tag>,
}

impl SvgBody {
    /// An element for a page that sets heading and caption itself.
    fn inline(&self) -> String {
        let opening = format!(
            "<svg viewBox=\"0 {} {} {}\" role=\"img\"",
            BODY.top * UNITS,
            WIDTH * UNITS,
            (BODY.bottom - BODY.top) * UNITS
        );
        with_tags(with_opening(&self.drawn, &opening), &self.tags)
    }
}

/// A picture that stands on a page as well as in a file of its own: its body is drawn as SVG once,
/// and kept.
struct OnPage<'a> {
    picture: Box<dyn Render + 'a>,
    body: OnceLock<SvgBody>,
}

/// The same picture, its body drawn as SVG once for the page and the file.
pub fn on_page<'a>(picture: Box<dyn Render + 'a>) -> Box<dyn Render + 'a> {
    Box::new(OnPage {
        picture,
        body: OnceLock::new(),
    })
}

impl OnPage<'_> {
    fn body(&self) -> &SvgBody {
        self.body.get_or_init(|| self.picture.svg_body())
    }
}

impl Render for OnPage<'_> {
    fn file_stem(&self) -> &str {
        self.picture.file_stem()
    }
    fn title(&self) -> String {
        self.picture.title()
    }
    fn caption(&self) -> String {
        self.picture.caption()
    }
    fn svg_body(&self) -> SvgBody {
        self.body().clone()
    }
    fn svg_of(&self, body: &SvgBody) -> String {
        self.picture.svg_of(body)
    }
    fn svg(&self) -> String {
        self.picture.svg_of(self.body())
    }
    fn inline_svg(&self) -> String {
        self.body().inline()
    }
    fn png(&self, sheet: &mut Sheet) -> Result<Vec<u8>, Error> {
        self.picture.png(sheet)
    }
    #[cfg(test)]
    fn recorded(&self) -> super::Recording {
        self.picture.recorded()
    }
}

/// A picture with its heading and caption.
pub(super) fn draw_whole<DB: DrawingBackend, P: Picture>(canvas: &mut Canvas<DB>, picture: &P) {
    frame(canvas, picture);
    picture.draw(canvas, BODY);
}

/// Heading above and caption below the body.
fn frame<DB: DrawingBackend, P: Picture>(canvas: &mut Canvas<DB>, picture: &P) {
    let room = WIDTH - 2.0 * MARGIN;
    let heading = Text::new(colours::INK, 21.0).bold();
    let title = heading.fitted(&picture.title(), room);
    canvas.text((MARGIN, 42.0), &title, &heading);
    let stamp = Text::new(colours::SOFT_INK, 14.0).align(Align::Right);
    let left = room - heading.width(&title) * 1.1 - 20.0;
    let words = stamp.fitted(&picture.stamp(), left);
    canvas.text((WIDTH - MARGIN, 42.0), &words, &stamp);
    let style = Text::new(colours::SOFT_INK, 14.0);
    let lines = broken(&picture.caption(), &style, room * MEASURED_OVER_WIDEST);
    for (i, line) in lines.iter().enumerate() {
        canvas.text((MARGIN, 652.0 + 18.5 * i as f64), line, &style);
    }
}

/// Breaks a text into lines of at most `room` pixels.
fn broken(text: &str, style: &Text, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let space = style.width(" ");
    let mut filled = 0.0;
    for word in text.split_whitespace() {
        let width = style.width(word);
        if let Some(line) = lines.last_mut().filter(|_| filled + space + width <= room) {
            line.push(' ');
            line.push_str(word);
            filled += space + width;
            continue;
        }
        lines.push(style.fitted(word, room));
        filled = width;
    }
    lines
}

/// A drawing, and the places in it that show a row of the data.
fn draw_tagged(draw: impl FnOnce(&mut Canvas<SVGBackend>)) -> (String, Vec<Tag>) {
    let mut text = String::new();
    let tags;
    {
        let size = ((WIDTH * UNITS) as u32, (HEIGHT * UNITS) as u32);
        let mut backend = SVGBackend::with_string(&mut text, size);
        let mut canvas = Canvas::new(&mut backend);
        draw(&mut canvas);
        tags = canvas.tags().to_vec();
        // Into memory this backend cannot fail.
        let _ = canvas.finish();
    }
    (text, tags)
}

/// More places than these cannot be told apart by a pointer, and would make a page heavy.
const MOST_TAGS: usize = 5000;

/// The drawing with an unseen ring over each place that shows a row of the data; a page makes it
/// seen when the row is pointed at.
fn with_tags(mut svg: String, tags: &[Tag]) -> String {
    let end = end_of_elements(&svg);
    if tags.is_empty() || tags.len() > MOST_TAGS {
        return svg;
    }
    let mut rings = String::from("<g class=\"marks\">\n");
    for tag in tags {
        let ((x, y), r) = (tag.at, tag.reach);
        rings.push_str(&format!(
            "<circle class=\"mark\" data-row=\"{}\" cx=\"{:.0}\" cy=\"{:.0}\" r=\"{:.0}\" \
             fill=\"none\" pointer-events=\"all\"/>\n",
            tag.row,
            x * UNITS,
            y * UNITS,
            r * UNITS
        ));
    }
    rings.push_str("</g>\n");
    svg.insert_str(end, &rings);
    svg
}

/// Replaces the opening tag's name and sizes: the backend counts in fine units, the file
/// says its size in pixels.
fn with_opening(svg: &str, opening: &str) -> String {
    let rest = svg.find(" xmlns=").map_or("", |at| &svg[at..]);
    format!("{opening}{rest}")
}

/// Where the elements of a drawing end.
fn end_of_elements(svg: &str) -> usize {
    svg.rfind("</svg>").unwrap_or(svg.len())
}

/// What a drawing holds between its opening tag and its end.
fn elements(svg: &str) -> &str {
    /// The end of the backend's opening tag.
    const OPENED: &str = ">\n";
    let begin = svg.find(OPENED).map_or(0, |at| at + OPENED.len());
    svg.get(begin..end_of_elements(svg)).unwrap_or_default()
}

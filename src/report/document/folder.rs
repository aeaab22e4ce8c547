//! A page and its pictures in a folder.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::files;
use crate::plot::{Render, Sheet};
use crate::problem::Error;

/// Writes the page made of `pictures` and every picture, as SVG and PNG, into `dir`, which is made
/// if need be. Gives the files' paths, the page first.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub(in crate::report) fn write_document(
    dir: &Path,
    name: &str,
    pictures: &[&dyn Render],
    page: impl FnOnce() -> String + Send,
) -> Result<Vec<PathBuf>, Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io(&dir.display().to_string(), "create", e))?;
    let each = |p: &dyn Render, sheet: &mut Sheet| -> Result<[PathBuf; 2], Error> {
        let png = write(dir, &format!("{}.png", p.file_stem()), &p.png(sheet)?)?;
        let svg = write(dir, &format!("{}.svg", p.file_stem()), p.svg().as_bytes())?;
        Ok([svg, png])
    };
    // Each core takes the next picture when it is done with one, and draws all on one sheet.
    let next = AtomicUsize::new(0);
    let draw_some = || -> Result<Vec<(usize, [PathBuf; 2])>, Error> {
        let mut sheet = Sheet::default();
        let mut drawn = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(picture) = pictures.get(number) else {
                return Ok(drawn);
            };
            drawn.push((number, each(*picture, &mut sheet)?));
        }
    };
    let (first, drawn) = rayon::join(
        || write(dir, name, page().as_bytes()),
        || rayon::broadcast(|_| draw_some()),
    );
    let mut paths = vec![first?];
    let mut files = Vec::new();
    for some in drawn {
        files.extend(some?);
    }
    files.sort_unstable_by_key(|(number, _)| *number);
    paths.extend(files.into_iter().flat_map(|(_, both)| both));
    Ok(paths)
}

fn write(dir: &Path, name: &str, contents: &[u8]) -> Result<PathBuf, Error> {
    let path = dir.join(name);
    files::write_whole(&path, contents)?;
    Ok(path)
}

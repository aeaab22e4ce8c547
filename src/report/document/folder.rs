//! A page and its pictures in a folder.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

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
    // A sheet is taken up again by whichever core is free.
    let (put_back, sheets) = crossbeam_channel::unbounded::<Sheet>();
    let each = |p: &&dyn Render| -> Result<[PathBuf; 2], Error> {
        let mut sheet = sheets.try_recv().unwrap_or_default();
        let png = write(dir, &format!("{}.png", p.file_stem()), &p.png(&mut sheet)?)?;
        let _ = put_back.send(sheet);
        let svg = write(dir, &format!("{}.svg", p.file_stem()), p.svg().as_bytes())?;
        Ok([svg, png])
    };
    let (first, drawn) = rayon::join(
        || write(dir, name, page().as_bytes()),
        || {
            (pictures.par_iter().with_max_len(1))
                .map(each)
                .collect::<Result<Vec<_>, Error>>()
        },
    );
    let mut paths = vec![first?];
    paths.extend(drawn?.into_iter().flatten());
    Ok(paths)
}

fn write(dir: &Path, name: &str, contents: &[u8]) -> Result<PathBuf, Error> {
    let path = dir.join(name);
    files::write_whole(&path, contents)?;
    Ok(path)
}

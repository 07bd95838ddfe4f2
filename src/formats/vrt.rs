//! Virtual rasters may only gather plain rasters of their own folder.

use super::open::Source;
use crate::finding::Problem;
use std::path::{Component, Path, PathBuf};

/// Elements that name another file, in lower case: the library does not tell cases apart.
const NAMING: [&str; 2] = ["sourcefilename", "sourcedataset"];
/// Words of virtual rasters that run code, warp, or reach other files by other ways, in lower case.
const FORBIDDEN: [&str; 9] =
    ["subclass", "pixelfunction", "<!doctype", "<!entity", "<gdal_wms", "x_dataset", "cutlineds", "<group", "dempath"];

/// Checks a file that calls itself a virtual raster; any other file passes.
///
/// # Errors
/// `reaches_outside` when a part lies elsewhere, `driver_not_allowed` for code inside.
pub fn check(source: &Source) -> Result<(), Problem> {
    let Some(text) = text_of(&source.file) else { return Ok(()) };
    let lower = text.to_ascii_lowercase();
    if let Some(word) = FORBIDDEN.iter().copied().find(|w| lower.contains(w)).or_else(|| named_by_attribute(&lower)) {
        return Err(Problem::data(
            "driver_not_allowed",
            format!("{} is a virtual raster with `{word}`, which the program does not run", source.label()),
        )
        .hint("make a plain raster of it first"));
    }
    let folder = source.file.parent().unwrap_or(Path::new("."));
    for name in named_files(&text) {
        let part = folder.join(&name);
        if !stays_inside(&name) || !inside_on_disk(folder, &part) {
            return Err(outside(source, &name, "lies outside the folder of the virtual raster"));
        }
        if text_of(&part).is_some() {
            return Err(outside(source, &name, "is itself a virtual raster"));
        }
    }
    Ok(())
}

/// The files a virtual raster gathers; none for any other file.
#[must_use]
pub fn parts(file: &Path) -> Vec<PathBuf> {
    let folder = file.parent().unwrap_or(Path::new("."));
    let names = text_of(file).map(|t| named_files(&t)).unwrap_or_default();
    names.iter().filter(|n| stays_inside(n)).map(|n| folder.join(n)).collect()
}

fn outside(source: &Source, name: &str, why: &str) -> Problem {
    Problem::data("reaches_outside", format!("{} gathers `{name}`, which {why}", source.label()))
        .hint("put the parts beside the virtual raster, or give one plain raster")
}

/// The text of a virtual raster; `None` for any other file.
fn text_of(file: &Path) -> Option<String> {
    use std::io::Read;
    let mut head = Vec::new();
    std::fs::File::open(file).ok()?.take(16_384).read_to_end(&mut head).ok()?;
    if !String::from_utf8_lossy(&head).contains("<VRTDataset") {
        return None;
    }
    std::fs::read(file).ok().map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
}

fn named_files(text: &str) -> Vec<String> {
    // Lower case of ASCII letters keeps every position.
    let lower = text.to_ascii_lowercase();
    let mut names = Vec::new();
    for element in NAMING {
        for (at, tag) in lower.match_indices(&format!("<{element}")) {
            let Some((_, rest)) = text[at + tag.len()..].split_once('>') else { continue };
            let Some((name, _)) = rest.split_once('<') else { continue };
            names.push(name.trim().to_owned());
        }
    }
    names
}

/// The library also takes attributes for elements; a file named that way is refused.
fn named_by_attribute(lower: &str) -> Option<&'static str> {
    NAMING.into_iter().find(|element| {
        lower.match_indices(element).any(|(at, _)| !lower[..at].ends_with('<') && !lower[..at].ends_with("</"))
    })
}

fn stays_inside(name: &str) -> bool {
    let path = Path::new(name);
    !name.is_empty()
        && !name.contains([':', '&', '\\'])
        && path.components().all(|c| matches!(c, Component::Normal(_) | Component::CurDir))
}

/// Symbolic links followed; a part that is missing is left to the library to report.
fn inside_on_disk(folder: &Path, part: &Path) -> bool {
    match (folder.canonicalize(), part.canonicalize()) {
        (Ok(folder), Ok(part)) => part.starts_with(folder),
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(body: &str) -> Option<String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("a.vrt"), format!("<VRTDataset>{body}</VRTDataset>")).unwrap();
        let source = Source::find(folder.path(), "elevation", "a.vrt").unwrap();
        check(&source).err().map(|p| p.code)
    }

    #[test]
    fn parts_must_stay_in_the_folder() {
        let file = |name: &str| format!("<SourceFilename relativeToVRT=\"1\">{name}</SourceFilename>");
        assert_eq!(verdict(&file("tile_1.tif")), None);
        assert_eq!(verdict(&file("tiles/tile_1.tif")), None);
        for name in ["../a.tif", "/etc/passwd", "/vsicurl/http://x/a.tif", "http://x/a.tif", "NETCDF:\"a.nc\":z", ""] {
            assert_eq!(verdict(&file(name)).as_deref(), Some("reaches_outside"), "{name}");
        }
        assert_eq!(verdict("<sourceFILENAME>../a.tif</sourceFILENAME>").as_deref(), Some("reaches_outside"));
        for body in
            ["<SimpleSource SourceFilename=\"../a.tif\"/>", "<VRTRasterBand subClass=\"VRTDerivedRasterBand\"/>"]
        {
            assert_eq!(verdict(body).as_deref(), Some("driver_not_allowed"), "{body}");
        }
        assert_eq!(verdict("<PixelFunctionCode>1</PixelFunctionCode>").as_deref(), Some("driver_not_allowed"));
    }
}

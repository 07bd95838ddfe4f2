//! What the inputs of a run are made of, as one number: contents of files and their companions, library versions.

use super::open::Source;
use super::vrt;
use crate::finding::{Problem, Problems};
use crate::land::site_table::SiteTable;
use crate::land::store::{InputRecord, Wanted};
use std::path::{Path, PathBuf};

/// Companions a format may keep beside its file, by what is put in place of the extension.
const REPLACED: [&str; 9] = ["shx", "dbf", "prj", "cpg", "qpj", "tfw", "tifw", "wld", "ige"];
/// Companions by what is put behind the whole name.
const APPENDED: [&str; 4] = ["aux.xml", "ovr", "msk", "prj"];

/// Versions of the libraries that decide how files are read and written.
#[must_use]
pub fn versions() -> Vec<(String, String)> {
    super::gdal_setup::set_up();
    vec![
        ("gdal".to_owned(), gdal::version::version_info("RELEASE_NAME")),
        ("gdal_build".to_owned(), gdal::version::version_info("BUILD_INFO").lines().collect::<Vec<_>>().join(" ")),
    ]
}

/// Digest over every input a run wants.
///
/// # Errors
/// Every missing or unreadable file.
pub fn of(base: &Path, site: &SiteTable, wanted: &Wanted) -> Result<(String, Vec<InputRecord>), Problems> {
    let mut problems = Problems::default();
    let mut records = Vec::new();
    let heights = if wanted.ground { site.height_sources() } else { Vec::new() };
    let inputs = [("boundary", Some(site.boundary.as_str()))]
        .into_iter()
        .chain(heights.into_iter().map(|(key, path)| (key, Some(path))))
        .chain(site.optional_layers())
        .chain([
            ("given_blocks", wanted.given_blocks.as_deref()),
            ("previous_blocks", wanted.previous_blocks.as_deref()),
            ("given_surface", wanted.given_surface.as_deref()),
        ]);
    for (key, path) in inputs {
        let Some(path) = path else { continue };
        match Source::find(base, key, path).and_then(|s| Ok((file_digest(&s)?, s))) {
            Ok((digest, source)) => records.push(InputRecord { key: source.key, path: source.written, digest }),
            Err(problem) => problems.push(problem),
        }
    }
    let mut all = blake3::Hasher::new();
    for record in &records {
        for part in [&record.key, &record.path, &record.digest] {
            all.update(part.as_bytes());
            all.update(&[0]);
        }
    }
    for (name, version) in versions() {
        all.update(format!("{name}={version}\0").as_bytes());
    }
    problems.into_result((all.finalize().to_hex().to_string(), records))
}

fn file_digest(source: &Source) -> Result<String, Problem> {
    let mut hasher = blake3::Hasher::new();
    let mut add = |path: &Path| {
        let file = std::fs::File::open(path).and_then(|f| hasher.update_reader(f).map(|_| ()));
        hasher.update(&[0]);
        file
    };
    add(&source.file).map_err(|e| {
        Problem::data("file_unreadable", format!("{} cannot be read: {e}", source.label()))
            .hint("check the permissions of the file")
    })?;
    for companion in companions(&source.file) {
        add(&companion)
            .map_err(|e| Problem::data("file_unreadable", format!("`{}` cannot be read: {e}", companion.display())))?;
    }
    Ok(hasher.finalize().to_hex().to_string())
}

/// Existing companions in a fixed order, the parts of a virtual raster included.
fn companions(file: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = REPLACED.iter().map(|e| file.with_extension(e)).collect();
    for end in APPENDED {
        let mut name = file.as_os_str().to_owned();
        name.push(".");
        name.push(end);
        found.push(PathBuf::from(name));
    }
    found.extend(vrt::parts(file));
    found.retain(|p| p.is_file() && p != file);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn companions_count() {
        let place = tempfile::tempdir().unwrap();
        std::fs::write(place.path().join("b.shp"), "x").unwrap();
        let site = SiteTable { boundary: "b.shp".to_owned(), ..SiteTable::default() };
        let digest = || of(place.path(), &site, &Wanted::default()).unwrap().0;
        let before = digest();
        assert_eq!(before, digest());
        std::fs::write(place.path().join("b.prj"), "y").unwrap();
        assert_ne!(before, digest());
        let gone = SiteTable { boundary: "c.shp".to_owned(), track: Some("d.shp".to_owned()), ..SiteTable::default() };
        let problems = of(place.path(), &gone, &Wanted::default()).unwrap_err();
        assert_eq!(problems.0.iter().map(|p| p.code.as_str()).collect::<Vec<_>>(), ["file_missing", "file_missing"]);
    }
}

//! The store on disk: inputs beside the pipeline file, kept artifacts in `.rowfall/`, and the run folder.

use super::open::set_up_gdal;
use super::run_folder::{self, RunLock, cannot_write};
use super::{geotiff_out, inputs, vector_out};
use crate::finding::{Outcome, Problem, Problems};
use crate::land::document::{Content, Document};
use crate::land::geodesy::CrsTag;
use crate::land::site_table::SiteTable;
use crate::land::store::{InputRecord, RenderedFile, Store, Wanted};
use crate::land::survey::RawSurvey;
use std::fs;
use std::path::{Path, PathBuf};

/// Kept artifacts beyond this many bytes are let go, the longest unused first.
const KEPT_BYTES: u64 = 2_000_000_000;

/// See the module.
#[derive(Debug)]
pub struct DiskStore {
    base: PathBuf,
    kept: PathBuf,
    run: PathBuf,
}

impl DiskStore {
    /// A store for the pipeline file in `base` and a run folder at `run`.
    #[must_use]
    pub fn new(base: PathBuf, run: PathBuf) -> Self {
        set_up_gdal();
        let kept = base.join(".rowfall");
        Self { base, kept, run }
    }

    /// Keeps a second run out for as long as the lock lives, and checks that the run folder may be written.
    ///
    /// # Errors
    /// Another run at work, a run folder that is not ours, a folder that cannot be written.
    pub fn lock(&self) -> Result<RunLock, Problem> {
        run_folder::check_place(&self.run)?;
        RunLock::take(&self.kept)
    }

    fn object(&self, key: &str) -> PathBuf {
        let (folder, name) = key.split_at(key.len().min(2));
        self.kept.join("objects").join(folder).join(if name.is_empty() { "_" } else { name })
    }

    /// Lets go of the longest unused artifacts when there are too many bytes.
    fn tidy(&self) {
        let mut objects: Vec<(std::time::SystemTime, u64, PathBuf)> = Vec::new();
        for folder in fs::read_dir(self.kept.join("objects")).into_iter().flatten().flatten() {
            for entry in fs::read_dir(folder.path()).into_iter().flatten().flatten() {
                if let Ok(meta) = entry.metadata() {
                    objects.push((meta.modified().unwrap_or(std::time::UNIX_EPOCH), meta.len(), entry.path()));
                }
            }
        }
        let mut total: u64 = objects.iter().map(|(_, bytes, _)| bytes).sum();
        objects.sort();
        for (_, bytes, path) in objects {
            if total <= KEPT_BYTES {
                break;
            }
            if fs::remove_file(path).is_ok() {
                total -= bytes;
            }
        }
    }
}

impl Store for DiskStore {
    fn input_digest(&self, site: &SiteTable, wanted: &Wanted) -> Result<(String, Vec<InputRecord>), Problems> {
        let records = inputs::records(&self.base, site, wanted)?;
        let mut hasher = blake3::Hasher::new();
        for record in &records {
            hasher
                .update(record.key.as_bytes())
                .update(b"\0")
                .update(record.path.as_bytes())
                .update(b"\0")
                .update(record.digest.as_bytes());
        }
        for (name, version) in self.versions() {
            hasher.update(name.as_bytes()).update(version.as_bytes());
        }
        Ok((hasher.finalize().to_hex().to_string(), records))
    }

    fn read_survey(&self, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
        inputs::read_survey(&self.base, site, wanted)
    }

    fn fetch(&self, key: &str) -> Option<Vec<u8>> {
        let path = self.object(key);
        let bytes = fs::read(&path).ok()?;
        // Used just now: the tidying takes the longest unused first.
        let _ = fs::File::options().append(true).open(&path).and_then(|f| f.set_modified(std::time::SystemTime::now()));
        Some(bytes)
    }

    fn keep(&self, key: &str, bytes: &[u8]) -> Result<(), Problem> {
        let path = self.object(key);
        let folder = path.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder).map_err(|e| cannot_write(folder, &e))?;
        let mut file = tempfile::NamedTempFile::new_in(folder).map_err(|e| cannot_write(folder, &e))?;
        std::io::Write::write_all(&mut file, bytes).map_err(|e| cannot_write(&path, &e))?;
        file.persist(&path).map_err(|e| cannot_write(&path, &e.error))?;
        Ok(())
    }

    fn render(&self, document: &Document, crs: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
        let whole = |bytes: Vec<u8>| Ok(vec![RenderedFile { path: document.path.clone(), bytes }]);
        let folder = match &document.content {
            Content::Text(text) => return whole(text.as_bytes().to_vec()),
            Content::Bytes(bytes) => return whole(bytes.clone()),
            _ => tempfile::tempdir().map_err(|e| cannot_write(&std::env::temp_dir(), &e))?,
        };
        let (parent, name) = document.path.rsplit_once('/').unwrap_or(("", &document.path));
        let file = folder.path().join(name);
        match &document.content {
            Content::GeoPackage(layers) => vector_out::geopackage(&file, &document.path, layers, crs)?,
            Content::GeoJson(layer, decimals) => vector_out::geojson(&file, &document.path, layer, *decimals, crs)?,
            Content::Kml(layer) => vector_out::kml(&file, &document.path, layer, crs)?,
            Content::Shapefile(layer) => vector_out::shapefile(&file, &document.path, layer, crs)?,
            Content::GeoTiff(sheet) => geotiff_out::geotiff(&file, &document.path, sheet, crs)?,
            Content::Text(_) | Content::Bytes(_) => {}
        }
        let mut files = Vec::new();
        for entry in fs::read_dir(folder.path()).map_err(|e| cannot_write(folder.path(), &e))?.flatten() {
            let bytes = fs::read(entry.path()).map_err(|e| cannot_write(&entry.path(), &e))?;
            let name = entry.file_name().to_string_lossy().to_string();
            files.push(RenderedFile { path: if parent.is_empty() { name } else { format!("{parent}/{name}") }, bytes });
        }
        files.sort_by(|a, b| a.path.cmp(&b.path));
        Ok(files)
    }

    fn versions(&self) -> Vec<(String, String)> {
        let gdal = gdal::version::VersionInfo::release_name();
        let (major, minor, patch) = proj_version();
        vec![("gdal".to_owned(), gdal), ("proj".to_owned(), format!("{major}.{minor}.{patch}"))]
    }

    fn finished_run(&self) -> Option<Vec<u8>> {
        fs::read(self.run.join("run.json")).ok()
    }

    fn publish(&self, files: &[RenderedFile], record: &[u8]) -> Result<(), Problem> {
        run_folder::put(&self.run, files, record)?;
        self.tidy();
        Ok(())
    }
}

#[expect(
    unsafe_code,
    reason = "GDAL's safe crate has no call for the PROJ version; this one only fills three integers"
)]
fn proj_version() -> (i32, i32, i32) {
    let (mut major, mut minor, mut patch) = (0, 0, 0);
    // SAFETY: the three pointers are to live integers of the right type.
    unsafe { gdal_sys::OSRGetPROJVersion(&raw mut major, &raw mut minor, &raw mut patch) };
    (major, minor, patch)
}

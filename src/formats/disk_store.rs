//! The store on disk: inputs beside the pipeline file, artifacts under `.rowfall`, results in the run folder.

use super::objects::{DEFAULT_LIMIT_BYTES, Lock, Objects};
use super::{digest, gdal_setup, geotiff_out, guidance_out, layers_out, paper_out, picture_out, run_folder, survey_in};
use crate::finding::{Outcome, Problem, Problems};
use crate::land::document::{Content, Document};
use crate::land::geodesy::CrsTag;
use crate::land::site_table::SiteTable;
use crate::land::store::{InputRecord, Pack, RenderedFile, Store, Wanted};
use crate::land::survey::RawSurvey;
use std::path::{Path, PathBuf};

/// A [`Store`] over three folders.
#[derive(Debug, Clone)]
pub struct DiskStore {
    base: PathBuf,
    store: PathBuf,
    run: PathBuf,
    objects: Objects,
}

impl DiskStore {
    /// Inputs relative to `base_dir` (the folder of the pipeline file), artifacts under `store_dir`, results in `run_dir`.
    #[must_use]
    pub fn new(base_dir: &Path, store_dir: &Path, run_dir: &Path) -> Self {
        gdal_setup::set_up();
        Self {
            base: base_dir.to_owned(),
            store: store_dir.to_owned(),
            run: run_dir.to_owned(),
            objects: Objects::new(store_dir, DEFAULT_LIMIT_BYTES),
        }
    }
    /// The same store with another limit on kept artifacts, bytes.
    #[must_use]
    pub fn with_limit(mut self, limit_bytes: u64) -> Self {
        self.objects = Objects::new(&self.store, limit_bytes);
        self
    }
    /// Keeps other runs out of the store folder while the lock lives.
    ///
    /// # Errors
    /// `locked` naming the holder; `not_written` when the folder cannot be used.
    pub fn lock(&self) -> Result<Lock, Problem> {
        Lock::take(&self.store)
    }
    /// Checks before a long run that the run folder may be replaced at its end.
    ///
    /// # Errors
    /// `not_our_folder`.
    pub fn check_run_folder(&self) -> Result<(), Problem> {
        run_folder::may_replace(&self.run)
    }
}

impl Store for DiskStore {
    fn input_digest(&self, site: &SiteTable, wanted: &Wanted) -> Result<(String, Vec<InputRecord>), Problems> {
        digest::of(&self.base, site, wanted)
    }
    fn read_survey(&self, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
        survey_in::read(&self.base, site, wanted)
    }
    fn fetch(&self, key: &str) -> Option<Vec<u8>> {
        self.objects.fetch(key)
    }
    fn keep(&self, key: &str, pack: Pack<'_>) -> Result<(), Problem> {
        self.objects.keep(key, pack)
    }
    fn render(&self, document: &Document, crs: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
        let path = &document.path;
        let one = |bytes: Vec<u8>| vec![RenderedFile { path: path.clone(), bytes }];
        match &document.content {
            Content::Text(text) => Ok(one(text.clone().into_bytes())),
            Content::Bytes(bytes) => Ok(one(bytes.clone())),
            Content::GeoPackage(layers) => layers_out::geopackage(path, layers, crs),
            Content::GeoJson(layer, decimals) => layers_out::geojson(path, layer, *decimals, crs),
            Content::Shapefile(layer) => layers_out::shapefile(path, layer, crs),
            Content::Kml(layer) => layers_out::kml(path, layer, crs),
            Content::Guidance(plan, run_id) => guidance_out::write(path, plan, run_id, crs),
            Content::GeoTiff(sheet) => geotiff_out::write(path, sheet, crs),
            Content::Png(picture) => picture_out::png(picture).map(one),
            Content::Pdf(paper) => paper_out::pdf(paper, crs).map(one),
        }
    }
    fn versions(&self) -> Vec<(String, String)> {
        digest::versions()
    }
    fn finished_run(&self) -> Option<Vec<u8>> {
        run_folder::record_in(&self.run)
    }
    fn publish(&self, files: &[RenderedFile], record: &[u8]) -> Result<(), Problem> {
        run_folder::publish(&self.run, files, record)
    }
}

//! Files become artifacts and documents become files: the only folder that knows GDAL, PROJ and the disk.

mod crs;
mod disk_store;
mod geotiff_out;
mod inputs;
mod layers_in;
mod open;
mod points_in;
mod raster_in;
mod run_folder;
mod styles;
mod vector_in;
mod vector_out;

pub use disk_store::DiskStore;
pub use run_folder::RunLock;

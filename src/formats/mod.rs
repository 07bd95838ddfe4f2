//! Files become artifacts and documents become files: the only folder that knows GDAL, PROJ and the disk.

//! The job as a whole: the pipeline file, the flow, options, kept work and the record.

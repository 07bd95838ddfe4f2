//! Arguments as typed.

use clap::{Parser, Subcommand};
use std::path::PathBuf;

/// From run-down plantation land to a first plan for cropping it: row blocks, drains, levelling, debris, cost, maps.
#[derive(Debug, Parser)]
#[command(
    name = "rowfall",
    version,
    after_help = "Exit codes: 0 done, 1 mistake in the program, 2 wrong request, 3 wrong data, 4 no design within the limits (results are written), 5 results could not be written."
)]
pub struct Args {
    /// Flags of every command.
    #[command(flatten)]
    pub global: Global,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// Flags of every command.
#[derive(Debug, Clone, clap::Args)]
pub struct Global {
    /// Print the result as JSON on standard output.
    #[arg(long, global = true)]
    pub json: bool,
    /// Print problems only.
    #[arg(long, global = true)]
    pub quiet: bool,
    /// No colours (also when the variable NO_COLOR is set).
    #[arg(long, global = true)]
    pub no_color: bool,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a new pipeline file, every key commented.
    Init(Init),
    /// Open every input and report every problem; compute nothing.
    Check(Check),
    /// Run the stages and write the run folder.
    Run(Run),
    /// Say what a stage reads, makes and cites, and what its parameters mean.
    Explain(Explain),
    /// Compare a later survey with the design of a run.
    Compare(Compare),
    /// Print the JSON Schema of a pipeline file.
    Schema,
}

/// Write a new pipeline file, every key commented.
#[derive(Debug, clap::Args)]
pub struct Init {
    /// Folder of the new plan; made when it does not exist.
    pub dir: PathBuf,
    /// Boundary: any polygon file (GeoJSON, GeoPackage, Shapefile, KML); `file.gpkg#layer` names one layer.
    #[arg(long, value_name = "FILE")]
    pub boundary: String,
    /// Elevation: a raster, or points with heights.
    #[arg(long, value_name = "FILE")]
    pub elevation: String,
    /// Name of the property; the name of the folder when left out.
    #[arg(long)]
    pub name: Option<String>,
    /// Another input of `[site]`, as KEY=FILE; may be given several times (`--layer outlet=site.gpkg#outlet`).
    #[arg(long = "layer", value_name = "KEY=FILE")]
    pub layers: Vec<String>,
}

/// Open every input and report every problem; compute nothing.
#[derive(Debug, clap::Args)]
pub struct Check {
    /// The pipeline file.
    pub plan: PathBuf,
    /// Override one value, as TABLE.KEY=VALUE; may be given several times.
    #[arg(long = "set", value_name = "TABLE.KEY=VALUE")]
    pub sets: Vec<String>,
}

/// Run the stages and write the run folder.
#[derive(Debug, clap::Args)]
pub struct Run {
    /// The pipeline file.
    pub plan: PathBuf,
    /// Run folder; `run` beside the pipeline file when left out.
    #[arg(short, long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Override one value, as TABLE.KEY=VALUE; may be given several times.
    #[arg(long = "set", value_name = "TABLE.KEY=VALUE")]
    pub sets: Vec<String>,
    /// Threads to use; all of the machine when left out. Results are the same for any number.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

/// Say what a stage reads, makes and cites, and what its parameters mean.
#[derive(Debug, clap::Args)]
pub struct Explain {
    /// The stage; a list of all stages when left out.
    pub stage: Option<String>,
}

/// Compare a later survey with the design of a run.
#[derive(Debug, clap::Args)]
pub struct Compare {
    /// The run folder.
    pub run: PathBuf,
    /// The later survey: a raster, or points with heights.
    pub survey: String,
    /// Write the table as CSV to this file as well.
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Draw the differences as an SVG map to this file.
    #[arg(long, value_name = "FILE")]
    pub map: Option<PathBuf>,
}

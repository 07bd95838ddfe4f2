//! What will run: the typed content of a pipeline file.

use super::file::optional;
use super::schema::Given;
use crate::finding::Problem;
use crate::land::as_built::Tolerances;
use crate::land::rates::Rates;
use crate::land::set_out::SetOutTable;
use crate::land::site_table::SiteTable;
use crate::land::store::Wanted;
use crate::stages::{
    Stage, StageInfo, blocks, clearing, costing, drains, erosion, guidance, levelling, program, survey, terrain, water,
};
use serde_json::{Map, Value as Json};

/// Everything a pipeline file asks for.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The property and its inputs.
    pub site: SiteTable,
    /// Files that stand in for products of stages.
    pub given: Given,
    /// Name of the option to publish, when the user has said so.
    pub wish: Option<String>,
    /// Set-out files, when wanted.
    pub set_out: Option<SetOutTable>,
    /// When finished work is accepted; kept in the record for `rowfall compare`.
    pub as_built: Option<Tolerances>,
    /// Parameters without any option; the stages before `blocks` read these.
    pub stages: StageTables,
    /// Prices without any option.
    pub rates: Rates,
    /// Whether the file has a `[rates]` table.
    pub rates_written: bool,
    /// The options, at least one, in file order.
    pub options: Vec<OptionPlan>,
}

/// One option: parameters of the later stages.
#[derive(Debug, Clone)]
pub struct OptionPlan {
    /// Name.
    pub name: String,
    /// What it means.
    pub description: String,
    /// Prices.
    pub rates: Rates,
    /// Parameters, overrides applied.
    pub stages: StageTables,
}

macro_rules! stage_tables {
    ($($(#[doc = $doc:literal])+ $name:ident: $stage:ty,)+) => {
        /// Parameters of every stage; `None` for a stage that is not wanted.
        #[derive(Debug, Clone)]
        pub struct StageTables {
            $($(#[doc = $doc])+ pub $name: Option<<$stage as Stage>::Params>,)+
        }

        impl StageTables {
            /// From the JSON form of a pipeline file that has passed its checks.
            ///
            /// # Errors
            /// A table that passed the schema but does not fit its type: a mistake of ours.
            pub fn from_json(json: &Json) -> Result<Self, Problem> {
                Ok(Self { $($name: optional(json, <$stage as Stage>::INFO.name)?,)+ })
            }
            /// The JSON form, wanted stages only, in flow order.
            #[must_use]
            pub fn json(&self) -> Map<String, Json> {
                let mut tables = Map::new();
                $(if let Some(table) = &self.$name {
                    tables.insert(<$stage as Stage>::INFO.name.to_owned(), serde_json::to_value(table).unwrap_or_default());
                })+
                tables
            }
            /// What is known of the wanted stages, in flow order.
            #[must_use]
            pub fn wanted(&self) -> Vec<&'static StageInfo> {
                let mut wanted = Vec::new();
                $(if self.$name.is_some() {
                    wanted.push(&<$stage as Stage>::INFO);
                })+
                wanted
            }
        }
    };
}

stage_tables! {
    /// Survey.
    survey: survey::Survey,
    /// Terrain.
    terrain: terrain::Terrain,
    /// Water.
    water: water::Water,
    /// Blocks.
    blocks: blocks::Blocks,
    /// Levelling.
    levelling: levelling::Levelling,
    /// Drains.
    drains: drains::DrainsStage,
    /// Clearing.
    clearing: clearing::Clearing,
    /// Erosion.
    erosion: erosion::Erosion,
    /// Program.
    program: program::ProgramStage,
    /// Costing.
    costing: costing::CostingStage,
    /// Guidance.
    guidance: guidance::Guidance,
}

/// Whether a stage cannot work without ground heights.
#[must_use]
pub fn needs_ground(stage: &StageInfo) -> bool {
    matches!(stage.name, "terrain" | "water" | "levelling" | "drains")
}

impl Plan {
    /// What must be read from files.
    #[must_use]
    pub fn wanted(&self) -> Wanted {
        let needed = self.stages.wanted().iter().any(|s| needs_ground(s));
        // The margin is the survey stage's own parameter; asked for by name so that its type stays its own.
        let survey = self.stages.survey.as_ref().and_then(|p| serde_json::to_value(p).ok());
        let margin_m = survey.and_then(|s| s["margin_m"].as_f64()).unwrap_or(0.0);
        Wanted {
            ground: needed || self.site.elevation.is_some(),
            given_blocks: self.given.blocks.clone(),
            previous_blocks: self.given.previous.clone(),
            given_surface: self.given.surface.clone(),
            margin_m,
        }
    }

    /// Every value the run uses, in a fixed order: what the record and the digest hold.
    #[must_use]
    pub fn resolved(&self) -> Json {
        let options: Vec<Json> = self
            .options
            .iter()
            .map(|option| {
                let mut table = Map::new();
                table.insert("name".into(), option.name.clone().into());
                table.insert("description".into(), option.description.clone().into());
                let late = option.stages.json().into_iter().filter(|(name, _)| !is_shared(name));
                table.extend(late);
                if self.rates_written {
                    table.insert("rates".into(), serde_json::to_value(&option.rates).unwrap_or_default());
                }
                Json::Object(table)
            })
            .collect();
        let mut all = Map::new();
        all.insert("site".into(), serde_json::to_value(&self.site).unwrap_or_default());
        all.insert("given".into(), serde_json::to_value(&self.given).unwrap_or_default());
        all.insert("wish".into(), serde_json::to_value(&self.wish).unwrap_or_default());
        if let Some(table) = &self.set_out {
            all.insert("set_out".into(), serde_json::to_value(table).unwrap_or_default());
        }
        if let Some(table) = &self.as_built {
            all.insert("as_built".into(), serde_json::to_value(table).unwrap_or_default());
        }
        all.extend(self.stages.json().into_iter().filter(|(name, _)| is_shared(name)));
        all.insert("options".into(), Json::Array(options));
        Json::Object(all)
    }
}

/// Whether a stage is computed once for all options.
#[must_use]
pub fn is_shared(stage: &str) -> bool {
    matches!(stage, "survey" | "terrain" | "water")
}

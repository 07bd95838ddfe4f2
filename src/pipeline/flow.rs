//! The job, in one function that reads in the order the work is done.

use super::options::choose;
use super::plan::Plan;
use super::step::{Kept, Product, Runner};
use crate::finding::{Finding, Problem, ProblemKind, Problems, Severity};
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::costing::Costing;
use crate::land::drains::DrainPlan;
use crate::land::erosion::ErosionReport;
use crate::land::guidance::GuidancePlan;
use crate::land::levelling::LevellingPlan;
use crate::land::program::Program;
use crate::land::set_out::SetOutGrade;
use crate::land::site::Site;
use crate::land::store::Wanted;
use crate::land::survey::RawSurvey;
use crate::land::survey::{ElevationModel, Ground};
use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;
use crate::stages::Ctx;
use crate::stages::blocks::{Blocks, BlocksInput};
use crate::stages::clearing::{Clearing, ClearingInput};
use crate::stages::costing::{CostingInput, CostingStage};
use crate::stages::drains::{DrainsInput, DrainsStage};
use crate::stages::erosion::{Erosion, ErosionInput};
use crate::stages::guidance::{Guidance, GuidanceInput};
use crate::stages::levelling::{Levelling, LevellingInput};
use crate::stages::program::{ProgramInput, ProgramStage};
use crate::stages::survey::{Survey, SurveyInput};
use crate::stages::terrain::{Terrain, TerrainInput};
use crate::stages::water::{Water, WaterInput};
use crate::stages::{STAGES, Stage};

/// Everything that was made.
pub struct Job {
    /// Site and ground.
    pub survey: Kept<(Site, Option<Ground>)>,
    /// Terrain.
    pub terrain: Option<Kept<TerrainModel>>,
    /// Water.
    pub water: Option<Kept<WaterModel>>,
    /// What has to be said about the set-out files.
    pub set_out: Option<Finding>,
    /// The options, in order.
    pub options: Vec<Design>,
    /// Which of them is published.
    pub chosen: usize,
    /// Why that one.
    pub why: String,
}

/// What one option made; `None` for a stage that is not wanted.
pub struct Design {
    /// Name.
    pub name: String,
    /// What it means.
    pub description: String,
    /// Blocks.
    pub blocks: Product<BlockPlan>,
    /// Levelling.
    pub levelling: Product<LevellingPlan>,
    /// Drains.
    pub drains: Product<DrainPlan>,
    /// Clearing.
    pub clearing: Product<ClearingPlan>,
    /// Erosion.
    pub erosion: Product<ErosionReport>,
    /// Program.
    pub program: Product<Program>,
    /// Costing.
    pub costing: Product<Costing>,
    /// Guidance.
    pub guidance: Product<GuidancePlan>,
}

/// Does the job.
///
/// # Errors
/// What is wrong with the data, from the first stage that cannot go on.
pub fn flow(plan: &Plan, wanted: &Wanted, input_digest: &str, run: &Runner<'_>) -> Result<Job, Problems> {
    let options = plan.options.as_slice();
    let read = RawInputs::new(plan, wanted, input_digest, run);

    let survey = survey(plan, &read, run)?;
    let (site, ground) = (&survey.value.0, survey.value.1.as_ref());
    let survey_key = survey.key.as_str();

    let terrain = match &plan.stages.terrain {
        Some(params) => Some(run.step::<Terrain>(params, &[survey_key], || {
            Ok((TerrainInput { site, ground: ground.ok_or_else(no_ground)? }, Vec::new()))
        })?),
        None => None,
    };
    let land = terrain.as_ref();

    let water = match (&plan.stages.water, land) {
        (Some(params), Some(t)) => Some(run.step::<Water>(params, &[survey_key, &t.key], || {
            let ground = ground.ok_or_else(no_ground)?;
            Ok((WaterInput { site, ground, terrain: &t.value }, Vec::new()))
        })?),
        _ => None,
    };
    let wet = water.as_ref();
    let water_value = wet.map(|w| &w.value);
    // What every later stage reads of the land as it is.
    let base: Vec<&str> =
        [Some(survey_key), land.map(|t| t.key.as_str()), wet.map(|w| w.key.as_str())].into_iter().flatten().collect();

    let blocks = run.across::<Blocks>(
        options,
        |o| o.stages.blocks.as_ref(),
        |_| base.clone(),
        |i| Some(BlocksInput { site, ground, water: water_value, rates: &options[i].rates }),
    )?;
    let layout = |i: usize| value(&blocks[i]);

    let surface = read.given_surface()?;
    let levelling = run.across::<Levelling>(
        options,
        |o| o.stages.levelling.as_ref(),
        |i| keys(&base, &[key(&blocks[i]), surface.as_ref().map(|(key, _)| key.as_str())]),
        |i| {
            Some(LevellingInput {
                site,
                ground: ground?,
                water: water_value,
                blocks: layout(i)?,
                given_surface: surface.as_ref().map(|(_, model)| model),
                rates: &options[i].rates,
                // Priced as the layout was: its table and the prices it reads are in the key of the blocks.
                undrained_per_m2: options[i].stages.blocks.as_ref().map(|b| b.undrained_once_per_m2(&options[i].rates)),
            })
        },
    )?;
    let earth = |i: usize| value(&levelling[i]);

    let drains = run.across::<DrainsStage>(
        options,
        |o| o.stages.drains.as_ref(),
        |i| keys(&base, &[key(&blocks[i]), key(&levelling[i])]),
        |i| {
            let (terrain, water) = (&land?.value, water_value?);
            let (levelling, rates) = (earth(i), &options[i].rates);
            Some(DrainsInput { site, ground: ground?, terrain, water, blocks: layout(i)?, levelling, rates })
        },
    )?;

    let clearing = run.across::<Clearing>(
        options,
        |o| o.stages.clearing.as_ref(),
        |i| keys(&base, &[key(&blocks[i])]),
        |i| Some(ClearingInput { site, water: water_value?, blocks: layout(i)?, rates: &options[i].rates }),
    )?;

    let erosion = run.across::<Erosion>(
        options,
        |o| o.stages.erosion.as_ref(),
        |i| keys(&base, &[key(&blocks[i]), key(&levelling[i]), key(&drains[i])]),
        |i| {
            let (terrain, water) = (&land?.value, water_value?);
            let drains = value(&drains[i]);
            Some(ErosionInput { site, terrain, water, blocks: layout(i)?, levelling: earth(i), drains })
        },
    )?;

    let works = |i: usize| keys(&base, &[key(&blocks[i]), key(&levelling[i]), key(&drains[i]), key(&clearing[i])]);
    let program = run.across::<ProgramStage>(
        options,
        |o| o.stages.program.as_ref(),
        works,
        |i| {
            let (drains, clearing) = (value(&drains[i]), value(&clearing[i]));
            Some(ProgramInput { site, blocks: layout(i)?, levelling: earth(i), drains, clearing })
        },
    )?;

    let costing = run.across::<CostingStage>(
        options,
        |o| o.stages.costing.as_ref(),
        works,
        |i| {
            let (drains, clearing) = (value(&drains[i]), value(&clearing[i]));
            let rates = &options[i].rates;
            Some(CostingInput { site, blocks: layout(i)?, levelling: earth(i), drains, clearing, rates })
        },
    )?;

    let guidance = run.across::<Guidance>(
        options,
        |o| o.stages.guidance.as_ref(),
        |i| keys(&base, &[key(&blocks[i])]),
        |i| Some(GuidanceInput { site, blocks: layout(i)? }),
    )?;

    let designs = (0..options.len())
        .map(|i| Design {
            name: options[i].name.clone(),
            description: options[i].description.clone(),
            blocks: blocks[i].clone(),
            levelling: levelling[i].clone(),
            drains: drains[i].clone(),
            clearing: clearing[i].clone(),
            erosion: erosion[i].clone(),
            program: program[i].clone(),
            costing: costing[i].clone(),
            guidance: guidance[i].clone(),
        })
        .collect();
    Ok(finished(plan, survey, terrain, water, designs))
}

fn finished(
    plan: &Plan,
    survey: Kept<(Site, Option<Ground>)>,
    terrain: Option<Kept<TerrainModel>>,
    water: Option<Kept<WaterModel>>,
    options: Vec<Design>,
) -> Job {
    let names: Vec<&str> = options.iter().map(|o| o.name.as_str()).collect();
    let worths: Vec<Option<f64>> =
        options.iter().map(|o| o.costing.as_ref().map(|c| c.value.worth.npv.likely)).collect();
    let (chosen, why) = choose(&names, plan.wish.as_deref(), &worths);
    let set_out = about_set_out(plan, &survey.value, &options[chosen]);
    Job { survey, terrain, water, set_out, options, chosen, why }
}

/// Why there are no set-out files, or why they are marked.
fn about_set_out(plan: &Plan, (site, ground): &(Site, Option<Ground>), design: &Design) -> Option<Finding> {
    let table = plan.set_out.as_ref()?;
    if design.blocks.is_none() && design.drains.is_none() {
        return None;
    }
    let against = table.objections(site, ground.as_ref()).join("; ");
    match table.grade(site, ground.as_ref()) {
        SetOutGrade::Build => None,
        SetOutGrade::Concept => {
            let why = if against.is_empty() { "as asked for".to_owned() } else { against };
            let message = format!("Every set-out file is marked CONCEPT and must not be built from: {why}.");
            Some(Finding::new(Severity::Note, "set_out", "set_out_concept", message))
        }
        SetOutGrade::Refused => {
            let message = format!(
                "No set-out files were written: {against}. Survey the ground after clearing to 0.05 m or better, tied to a \
                 benchmark; or set `set_out.concept = true` for files marked CONCEPT."
            );
            Some(Finding::new(Severity::Warning, "set_out", "set_out_refused", message))
        }
    }
}

/// The survey as read from files: read at most once, and only when something has to be made from it.
struct RawInputs<'a> {
    plan: &'a Plan,
    wanted: &'a Wanted,
    key: String,
    run: &'a Runner<'a>,
}

impl<'a> RawInputs<'a> {
    fn new(plan: &'a Plan, wanted: &'a Wanted, input_digest: &str, run: &'a Runner<'a>) -> Self {
        let site = serde_json::to_vec(&plan.site).unwrap_or_default();
        let asked = format!("{wanted:?}");
        let key = run.cache.key("inputs", &[input_digest.as_bytes(), &site, asked.as_bytes()]);
        Self { plan, wanted, key, run }
    }

    /// The user's own design surface with its key, when one is given.
    fn given_surface(&self) -> Result<Option<(String, ElevationModel)>, Problems> {
        if self.wanted.given_surface.is_none() || self.plan.stages.levelling.is_none() {
            return Ok(None);
        }
        let key = format!("surface-{}", self.key);
        if let Some(model) = self.run.cache.fetch(&key) {
            return Ok(Some((key, model)));
        }
        let raw = self.run.cache.store.read_survey(&self.plan.site, self.wanted)?;
        Ok(raw.value.given_surface.map(|model| (key, model)))
    }
}

fn survey(plan: &Plan, read: &RawInputs<'_>, run: &Runner<'_>) -> Result<Kept<(Site, Option<Ground>)>, Problems> {
    // Validation has made sure that the survey is wanted wherever another stage is.
    let params = plan.stages.survey.clone().unwrap_or_default();
    let raw = std::cell::OnceCell::new();
    let surface_key = format!("surface-{}", read.key);
    run.step::<Survey>(&params, &[&read.key], || {
        let outcome = run.cache.store.read_survey(&plan.site, read.wanted)?;
        if let Some(surface) = &outcome.value.given_surface {
            run.cache.keep(&surface_key, surface)?;
        }
        let noticed: Vec<Finding> = outcome.findings;
        Ok((survey_input(plan, raw.get_or_init(|| outcome.value), run.most_cells), noticed))
    })
}

fn survey_input<'a>(plan: &'a Plan, raw: &'a RawSurvey, most_cells: f64) -> SurveyInput<'a> {
    SurveyInput {
        raw,
        name: &plan.site.name,
        stated_sigma_m: plan.site.elevation_sigma_m,
        parcels_worked_as_one: plan.site.parcels_worked_as_one,
        most_cells,
    }
}

/// What the survey stage finds wrong with inputs that could be read: crossing outlines, holes, overlaps, a grid of more than
/// `most_cells`. Makes nothing.
///
/// # Errors
/// Everything that is wrong.
pub fn judge_inputs(plan: &Plan, raw: &RawSurvey, most_cells: f64, ctx: &Ctx<'_>) -> Result<Vec<Finding>, Problems> {
    let params = plan.stages.survey.clone().unwrap_or_default();
    Ok(Survey::run(survey_input(plan, raw, most_cells), &params, ctx)?.findings)
}

fn no_ground() -> Problem {
    Problem::new(ProblemKind::Bug, "no_ground", "a stage that needs ground heights was started without them")
}

fn value<T>(product: &Product<T>) -> Option<&T> {
    product.as_ref().map(|kept| &kept.value)
}

fn key<T>(product: &Product<T>) -> Option<&str> {
    product.as_ref().map(|kept| kept.key.as_str())
}

/// An absent product has its own mark, so that its place in the list of keys stays.
fn keys<'k>(base: &[&'k str], more: &[Option<&'k str>]) -> Vec<&'k str> {
    base.iter().copied().chain(more.iter().map(|key| key.unwrap_or("none"))).collect()
}

impl Design {
    /// What was noticed about this option, in flow order.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        let mut all: Vec<Finding> = Vec::new();
        let mut add = |found: Option<&Vec<Finding>>| all.extend(found.into_iter().flatten().cloned());
        add(self.blocks.as_ref().map(|k| &k.findings));
        add(self.levelling.as_ref().map(|k| &k.findings));
        add(self.drains.as_ref().map(|k| &k.findings));
        add(self.clearing.as_ref().map(|k| &k.findings));
        add(self.erosion.as_ref().map(|k| &k.findings));
        add(self.program.as_ref().map(|k| &k.findings));
        add(self.costing.as_ref().map(|k| &k.findings));
        add(self.guidance.as_ref().map(|k| &k.findings));
        all
    }
}

impl Job {
    /// Keys of all that is drawn and set out of the published option: everything but its costing.
    #[must_use]
    pub fn drawn_keys(&self) -> Vec<&str> {
        fn key<T>(product: Option<&Kept<T>>) -> &str {
            product.map_or("", |kept| &kept.key)
        }
        let mut keys = vec![self.survey.key.as_str(), key(self.terrain.as_ref()), key(self.water.as_ref())];
        if let Some(design) = self.options.get(self.chosen) {
            keys.extend([
                design.name.as_str(),
                key(design.blocks.as_deref()),
                key(design.levelling.as_deref()),
                key(design.drains.as_deref()),
                key(design.clearing.as_deref()),
                key(design.erosion.as_deref()),
                key(design.program.as_deref()),
                key(design.guidance.as_deref()),
            ]);
        }
        keys
    }
    /// What was noticed about the land and the published option, most severe first, then by stage and place.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        let mut all = self.survey.findings.clone();
        all.extend(self.terrain.iter().flat_map(|k| k.findings.iter().cloned()));
        all.extend(self.water.iter().flat_map(|k| k.findings.iter().cloned()));
        if let Some(design) = self.options.get(self.chosen) {
            all.extend(design.findings());
        }
        all.extend(self.set_out.clone());
        if self.options.len() > 1 {
            all.push(Finding::new(Severity::Note, "plan", "option_published", format!("{}.", self.why)));
        }
        let order = |stage: &str| STAGES.iter().position(|s| s.info.name == stage).unwrap_or(STAGES.len());
        all.sort_by_cached_key(|f| (f.severity, order(&f.stage), f.place.to_string()));
        all
    }
}

/// The name of the first stage, whose table every pipeline file that wants another stage has.
pub const FIRST_STAGE: &str = Survey::INFO.name;

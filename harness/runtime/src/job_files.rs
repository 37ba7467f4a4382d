//! From the bytes of a job's own files to what the procedure is made of. The same for a live run and for a replay, which
//! takes the bytes from the log.
use crate::{each_alone::each_alone, failure::Failure, places::Forest, warnings};
use plumeline_airflow::{
    AirflowError, SolveOptions, defects,
    friction::FrictionLaw,
    solve,
    transport::mean_times,
    uncertainty::{
        self,
        alone::alone,
        translate::{pressure_exponents, translate},
    },
    warnings::{ReviewLimits, review},
};
use plumeline_base::{input::Input, pipework::Pipework};
use plumeline_detector::{Abilities, vocabulary::ObscurationSensing};
use plumeline_job::{
    Kind, Problem,
    account::{self, AccountFile},
    description,
    folder::{self, Folder},
    history::{self, History},
    pipework::{self, FrictionChoice, ModelChoice, PipeworkFile},
    plan, settings,
};
use plumeline_procedure::{JobInputs, Plan, Warned, instrument::Instrument, rules::advanced::ModelRules};
use plumeline_unit::Description;

/// The name under which the port enters the log beside the files.
pub const PORT: &str = "port";

/// The name of the outgoing unit's own port, if it has one.
pub const OLD_PORT: &str = "old-port";

/// The files that a job is judged by, as they were read.
#[derive(Clone, Debug, Default)]
pub struct Files(pub Vec<(String, Vec<u8>)>);

/// A unit that is expected at a port.
#[derive(Clone, Debug)]
pub(crate) struct Expected {
    /// Its model.
    pub(crate) description: Description,
    /// Its serial number, where the plan states one.
    pub(crate) serial: Option<String>,
    /// The meter at its exhaust off which its flows are read.
    pub(crate) meter: Option<Instrument>,
}

impl Files {
    /// The replacement and the outgoing unit, where they are described. What is not sound is told where the files are checked.
    pub(crate) fn expected(&self) -> [Option<Expected>; 2] {
        let plan = self.plan().ok().map(|p| p.plan);
        let serials = [
            plan.as_ref().and_then(|p| p.replacement.serial.clone()),
            plan.as_ref().and_then(|p| p.outgoing.as_ref()?.serial.clone()),
        ];
        let [replacement, outgoing] =
            [folder::UNIT_REPLACEMENT, folder::UNIT_OUTGOING].map(|name| self.described(name, None));
        let [of_replacement, of_outgoing] = serials;
        let meter = plan.as_ref().and_then(|p| p.exhaust_meter().cloned());
        let expected = |description: Result<Option<Description>, _>, serial, meter| {
            description.ok().flatten().map(|description| Expected { description, serial, meter })
        };
        [expected(replacement, of_replacement, meter), expected(outgoing, of_outgoing, None)]
    }
    /// Reads them from a job folder. What is missing of those that a job can be without leaves it undecided.
    pub fn read(folder: &Folder) -> Result<Self, Failure> {
        let mut files = Vec::new();
        for (name, needed) in folder::INPUTS {
            if needed || folder.exists(name)? {
                files.push((name.to_owned(), folder.read(name)?.bytes));
            }
        }
        Ok(Self(files))
    }
    /// The inputs that stand at the beginning of every log: the tool, the date, the files.
    pub fn opening(&self, date: String) -> Vec<Input> {
        let tool = Input::Tool { version: env!("CARGO_PKG_VERSION").into(), format: plumeline_trace::FORMAT };
        // The files come first of all, so that nothing happens before it is known what the job is judged by.
        let files = self.0.iter().map(|(name, bytes)| Input::File { name: name.clone(), bytes: bytes.clone() });
        [tool, Input::Date(date)].into_iter().chain(files).collect()
    }
    /// The port that the job is run through, as the user wrote it. It is one of the inputs, because the driver hangs on it.
    pub fn with_port(mut self, port: &str) -> Self {
        self.0.push((PORT.into(), port.into()));
        self
    }
    /// The outgoing unit's own port, if it has one.
    pub fn with_old_port(mut self, port: Option<&str>) -> Self {
        self.0.extend(port.map(|port| (OLD_PORT.into(), port.into())));
        self
    }
    /// These ports in place of those named before.
    pub fn with_ports(mut self, port: &str, old_port: Option<&str>) -> Self {
        self.0.retain(|(name, _)| name != PORT && name != OLD_PORT);
        self.with_port(port).with_old_port(old_port)
    }
    /// The port that the job was begun with.
    pub fn port(&self) -> &str {
        self.text(PORT).unwrap_or_default()
    }
    /// The outgoing unit's own port that the job was begun with.
    pub fn old_port(&self) -> Option<&str> {
        self.text(OLD_PORT)
    }
    fn text(&self, name: &str) -> Option<&str> {
        let (_, bytes) = self.0.iter().find(|(n, _)| n == name)?;
        std::str::from_utf8(bytes).ok()
    }
    fn get(&self, name: &str) -> Result<&[u8], Failure> {
        self.0.iter().find(|(n, _)| n == name).map(|(_, b)| b.as_slice()).ok_or_else(|| {
            let p = Problem::with_file(
                Kind::Absent,
                name,
                "the job has no such file",
                "write it, or start from `plumeline new`",
            );
            Failure::Problem(p)
        })
    }
    /// The pipework; a model that it names is the job's own description, or one that comes with the tool.
    fn pipework(&self) -> Result<PipeworkFile, Failure> {
        let own = [folder::UNIT_REPLACEMENT, folder::UNIT_OUTGOING].map(|name| self.described(name, None));
        let own = own.into_iter().collect::<Result<Vec<_>, _>>()?;
        let own: Vec<&Description> = own.iter().flatten().collect();
        Ok(pipework::parse_with(folder::PIPEWORK, self.get(folder::PIPEWORK)?, &own)?)
    }
    /// The plan, by its own pipework.
    ///
    /// # Errors
    /// Files that are missing or not sound.
    pub fn plan(&self) -> Result<plan::PlanFile, Failure> {
        Ok(plan::parse(folder::PLAN, self.get(folder::PLAN)?, &self.pipework()?.pipework)?)
    }
    /// The description of that name, if the job has it: the one that the settings were carried over by.
    fn described(&self, name: &str, carried: Option<&account::Model>) -> Result<Option<Description>, Failure> {
        let Ok(bytes) = self.get(name) else { return Ok(None) };
        let described = description::parse(name, bytes)?;
        if let Some(carried) = carried
            && *carried != account::Model::new(&described, bytes)
        {
            let cause = format!("{name} is not the description by which the settings were carried over");
            let remedy = "run `plumeline carry` again with this description, or put the other one back";
            return Err(Problem::with_file(Kind::Conflict, name, cause, remedy).into());
        }
        Ok(Some(described))
    }
    /// Adds the shipped descriptions of these names, where the job brings none of its own.
    ///
    /// # Errors
    /// There is none of that name.
    pub fn with_shipped(mut self, outgoing: &str, replacement: &str) -> Result<Self, Failure> {
        for (file, model) in [(folder::UNIT_OUTGOING, outgoing), (folder::UNIT_REPLACEMENT, replacement)] {
            let shipped = description::SHIPPED.iter().find(|(name, _)| *name == model);
            let (_, text) = shipped.ok_or_else(|| Failure::internal(format!("no description {model} is shipped")))?;
            if self.get(file).is_err() {
                self.0.push((file.into(), text.as_bytes().to_vec()));
            }
        }
        Ok(self)
    }
    /// Reads a job's folder like [`Files::read`]. A folder that brings no description of its replacement, whose plan names a model
    /// that is shipped with one, gets that one. Gives the model, if so.
    ///
    /// # Errors
    /// Files that are missing or not sound.
    pub fn read_described(folder: &Folder) -> Result<(Self, Option<String>), Failure> {
        let mut files = Self::read(folder)?;
        let added = files.described_since()?;
        if added.is_some() {
            folder.write(folder::UNIT_REPLACEMENT, files.get(folder::UNIT_REPLACEMENT)?, false)?;
        }
        Ok((files, added))
    }
    /// With the shipped description of the replacement that the plan names, for a log of a version that entered none.
    /// Gives the model, if one was added.
    ///
    /// # Errors
    /// Files that are not sound.
    pub fn described_since(&mut self) -> Result<Option<String>, Failure> {
        if self.get(folder::UNIT_REPLACEMENT).is_ok() {
            return Ok(None);
        }
        let Some(model) = self.plan()?.plan.replacement.model else { return Ok(None) };
        for (name, text) in description::SHIPPED {
            if description::parse(name, text.as_bytes())?.model == model {
                self.0.push((folder::UNIT_REPLACEMENT.into(), text.into()));
                return Ok(Some(model));
            }
        }
        Ok(None)
    }
    /// Reads and checks everything, and predicts what the pipework should do.
    pub fn check(&self) -> Result<Loaded, Failure> {
        self.check_with(|_| {})
    }
    /// Like [`Files::check`], with a plan that is changed after it was read: for campaigns.
    pub fn check_with(&self, change: impl FnOnce(&mut Plan)) -> Result<Loaded, Failure> {
        let pipework = self.pipework()?;
        let mut plan = plan::parse(folder::PLAN, self.get(folder::PLAN)?, &pipework.pipework)?;
        change(&mut plan.plan);
        let to_load = match self.get(folder::SETTINGS_NEW) {
            Ok(bytes) => Some(settings::parse(folder::SETTINGS_NEW, bytes)?),
            Err(_) => None,
        };
        let carried = match self.get(folder::ACCOUNT) {
            Ok(bytes) => Some(account::parse(folder::ACCOUNT, bytes)?),
            Err(_) => None,
        };
        if let Some(carried) = &carried {
            carried.allows(to_load.as_ref())?;
            // The wiring sheet is written once: where the plan has none, the carry-over's holds.
            if plan.plan.outputs.wires.is_empty() {
                plan.plan.outputs.wires = carried.wires();
            }
        }
        let to_load = to_load.map(|d| d.settings);
        let outgoing = self.described(folder::UNIT_OUTGOING, carried.as_ref().map(|c| &c.from))?;
        let replacement = self.described(folder::UNIT_REPLACEMENT, carried.as_ref().map(|c| &c.to))?;
        let prediction = predict(folder::PIPEWORK, &pipework, &plan.plan.advanced.model)?;
        let options = options(pipework.model, &plan.plan.advanced.model);
        let told = |e: AirflowError| told(folder::PIPEWORK, &pipework.pipework, &e);
        let translations = match &pipework.outgoing {
            Some(old) => translate(old, &pipework.pipework, &options).map_err(told)?,
            None => Vec::new(),
        };
        if plan.plan.exhaust_meter().is_some() {
            readable_by_meter(replacement.as_ref())?;
        }
        if plan.plan.logger().is_some() {
            readable_by_logger(replacement.as_ref())?;
        }
        let by_opening = pipework.pipework.openings.len() <= ONE_BY_ONE;
        let several = pipework.pipework.inlets.iter().filter(|i| i.node.is_some()).count() > 1;
        let (prediction, alone) = match plan.plan.exhaust_meter() {
            Some(_) if several => each_alone(&pipework.pipework, &options, &prediction, by_opening).map_err(told)?,
            _ if by_opening => (prediction, alone(&pipework.pipework, &options).map_err(told)?),
            _ => (prediction, Vec::new()),
        };
        let inputs = JobInputs {
            plan: plan.plan.clone(),
            warnings: warned(&pipework, &plan.plan).map_err(told)?,
            translations,
            exponents: pressure_exponents(&pipework.pipework, &options).map_err(told)?,
            defects: defects::visible(&pipework.pipework, &options, &prediction).map_err(told)?,
            pipework: pipework.pipework.clone(),
            prediction,
            alone,
            to_load,
            outgoing,
            replacement,
        };
        let history = match self.get(folder::HISTORY) {
            Ok(bytes) => Some(history::parse(folder::HISTORY, bytes)?),
            Err(_) => None,
        };
        // Whose years they are, the unit itself shows by the serial number that the plan states.
        let stated = plan.plan.replacement.serial.as_deref();
        if let Some(other) = history.as_ref().filter(|h| stated != Some(h.serial.as_str())) {
            let cause = format!(
                "it is of the unit with serial number {}; the plan states {}",
                other.serial,
                stated.unwrap_or("none")
            );
            let remedy = "state that serial number under [replacement] in the plan, or take the file out of the job";
            return Err(Problem::with_file(Kind::Conflict, folder::HISTORY, cause, remedy).into());
        }
        Ok(Loaded { pipework, plan, inputs, carried, history })
    }
}

/// A meter at the exhaust is read by a person, in place of what the unit shows or does not: a unit that tells its flows over a line has no
/// use for one.
fn readable_by_meter(replacement: Option<&Description>) -> Result<(), Failure> {
    let tells = |d: &Description| match d.is_by_hand() {
        true => false,
        false => d.offers().line.is_none_or(|line| line.can.flow_per_inlet),
    };
    if replacement.is_some_and(|d| !tells(d)) {
        return Ok(());
    }
    let cause =
        "a meter at the exhaust is named, and the replacement tells its flows over its line (or nobody described it)";
    let remedy = "take `at = \"exhaust\"` or the instrument out of the plan; a unit that tells no flow is described without one, in [display], [registers] or [lines]";
    Err(Problem::with_file(Kind::Conflict, folder::PLAN, cause, remedy).into())
}

/// A logger stands in for the smoke that a unit doesn't tell by a line: one that does has no use for it.
fn readable_by_logger(replacement: Option<&Description>) -> Result<(), Failure> {
    let tells = |d: &Description| {
        let line = |line: &Abilities| line.obscuration != ObscurationSensing::None;
        !d.is_by_hand() && d.offers().line.as_ref().is_none_or(|l| line(&l.can))
    };
    if replacement.is_some_and(|d| !tells(d)) {
        return Ok(());
    }
    let cause = "a logger of the smoke signal is named, and the replacement tells its smoke over its line (or nobody described it)";
    let remedy = "take the logger out of the plan: what the unit tells is timed as it comes; a unit that tells no smoke is described without it";
    Err(Problem::with_file(Kind::Conflict, folder::PLAN, cause, remedy).into())
}

/// What each hole draws alone is worked out for pipework of up to so many openings: more are not opened one by one by anybody.
const ONE_BY_ONE: usize = 200;

/// A job's files, checked.
#[derive(Debug)]
pub struct Loaded {
    /// The pipework as it was read.
    pub pipework: PipeworkFile,
    /// The plan as it was read.
    pub plan: plan::PlanFile,
    /// What the procedure is made of.
    pub inputs: JobInputs,
    /// The account of the carry-over that the settings come from, if they come from one.
    pub carried: Option<AccountFile>,
    /// What earlier jobs at the unit measured, where the job knows of them.
    pub history: Option<History>,
}

/// How a pipework file wants to be computed.
pub fn solve_options(model: ModelChoice) -> SolveOptions {
    let friction = match model.friction {
        FrictionChoice::Churchill => FrictionLaw::Churchill,
        FrictionChoice::HagenDunlopSwameeJain => FrictionLaw::HagenDunlopSwameeJain,
        FrictionChoice::Colebrook => FrictionLaw::Colebrook,
    };
    SolveOptions { friction, momentum: model.momentum, ..SolveOptions::default() }
}

/// What the prediction is computed with: how the pipework file wants it, and how well the job takes the model to be known.
fn options(model: ModelChoice, rules: &ModelRules) -> uncertainty::PredictOptions {
    let tolerance = uncertainty::ModelTolerance {
        density: rules.density,
        viscosity: rules.viscosity,
        friction: rules.friction,
        friction_form: rules.friction_form,
        unit_loss: rules.unit_loss,
        suction: rules.suction,
        unit_volume: rules.unit_volume,
    };
    let draws = rules.draws.into();
    uncertainty::PredictOptions { solve: solve_options(model), model: tolerance, draws, ..Default::default() }
}

/// The prediction with its uncertainty, by the seed that every job uses: the same files give the same numbers. `name` is
/// what messages call the file.
pub fn predict(name: &str, file: &PipeworkFile, rules: &ModelRules) -> Result<uncertainty::Prediction, Failure> {
    uncertainty::predict(&file.pipework, &options(file.model, rules)).map_err(|e| told(name, &file.pipework, &e))
}

/// What a prediction says of itself, held against the limits of a plan.
fn warned(file: &PipeworkFile, plan: &Plan) -> Result<Vec<Warned>, AirflowError> {
    let pipework = &file.pipework;
    let solution = solve(pipework, &solve_options(file.model))?;
    let limits = ReviewLimits {
        min_suction_pa: plan.limits.last_hole_suction.value,
        max_transport_s: plan.limits.transport.value,
        min_balance: plan.advanced.model.weakest_hole,
    };
    let all = review(pipework, &solution, &mean_times(pipework, &solution), &limits);
    let told = warnings::paragraphs(pipework, &Forest::of(pipework), &all, ToString::to_string);
    Ok(told.into_iter().map(|(what, says)| Warned { what, says }).collect())
}

/// Why the engine gave no result, by what people call the place.
pub fn told(name: &str, pipework: &Pipework, e: &AirflowError) -> Failure {
    match e {
        AirflowError::Build(e) => {
            let place = Forest::of(pipework).full_words(pipework, e.place);
            Failure::input(format!("{name}: {place}: {}", e.fault), e.fault.remedy())
        }
        _ => Failure::input(format!("{name}: {e}"), "describe the pipework as it is built"),
    }
}

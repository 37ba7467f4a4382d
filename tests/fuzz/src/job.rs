//! The job that sequences of events go into: one short pipe, everything done, as briefly as it can be.
use plumeline_airflow::{
    defects,
    uncertainty::{self, translate::pressure_exponents},
};
use plumeline_job::{description, pipework, plan, settings};
use plumeline_procedure::JobInputs;
use plumeline_unit::Description;
use std::sync::OnceLock;

/// Made once: it is the same for every input.
pub(crate) fn inputs() -> &'static JobInputs {
    static INPUTS: OnceLock<JobInputs> = OnceLock::new();
    INPUTS.get_or_init(|| {
        let read = pipework::parse("pipework.toml", include_bytes!("../job/pipework.toml")).unwrap();
        let plan = plan::parse("plan.toml", include_bytes!("../job/plan.toml"), &read.pipework).unwrap();
        let to_load = settings::parse("settings-new.json", include_bytes!("../job/settings-new.json")).unwrap();
        let (name, text) = description::SHIPPED.into_iter().find(|(name, _)| *name == "model-b").unwrap();
        let options = uncertainty::PredictOptions { draws: 200, ..Default::default() };
        let prediction = uncertainty::predict(&read.pipework, &options).unwrap();
        JobInputs {
            plan: plan.plan,
            translations: Vec::new(),
            exponents: pressure_exponents(&read.pipework, &options).unwrap(),
            defects: defects::visible(&read.pipework, &options, &prediction).unwrap(),
            warnings: Vec::new(),
            pipework: read.pipework,
            prediction,
            alone: Vec::new(),
            to_load: Some(to_load.settings),
            outgoing: None,
            // The unit of this world has the settings of that model and a name of its own.
            replacement: Some(Description {
                maker: "Example Works".into(),
                model: "Tiny".into(),
                ..description::parse(name, text.as_bytes()).unwrap()
            }),
        }
    })
}

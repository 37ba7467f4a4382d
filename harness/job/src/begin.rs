//! The files that a new job begins with: the templates with what is known of the site filled in, and what is still open marked.
//!
//! Not here: who is asked, and the folder.
use crate::{pipework, plan};
use plumeline_unit::Description;
use std::fmt::Write;

/// What is known of a job before it begins. What is not stays as the template has it, and the checks of the job say so.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Begin {
    /// Site and zone.
    pub site: Option<String>,
    /// Who does the work.
    pub technician: Option<String>,
    /// The model of the outgoing unit.
    pub outgoing: Option<Description>,
    /// There is no outgoing unit that could be asked.
    pub outgoing_dead: bool,
    /// The model of the replacement.
    pub replacement: Option<Description>,
    /// Numbers of the inlets that carry a pipe.
    pub inlets: Vec<u8>,
    /// The port that the job is run through where none is given.
    pub port: Option<String>,
}

/// Marks what is still to be written.
pub const OPEN: &str = "# OPEN:";

/// Text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

impl Begin {
    /// `pipework.toml`: the units by their models, and for each inlet in use a pipe that is still to be described.
    pub fn pipework(&self) -> String {
        let template = pipework::TEMPLATE;
        let (Some((head, rest)), Some(at)) = (template.split_once("[unit]\n"), template.find("[[pipe]]")) else {
            return template.into();
        };
        let (own_unit, pipe) = (rest.split("[[pipe]]").next().unwrap_or_default(), &template[at..]);
        let mut text = match &self.site {
            Some(site) => head.replacen("\"Site and zone\"", &quoted(site), 1),
            None => head.into(),
        };
        text += "[unit]\n";
        match self.replacement.as_ref().filter(|d| d.air.is_some()) {
            Some(d) => {
                let highest = self.inlets.iter().copied().max().unwrap_or(1).max(d.inlets.0);
                let _ = writeln!(text, "model = {}", quoted(&d.model));
                text += "# What the description states holds: fan, losses, volumes, lag. What is written here goes before it.\n";
                let _ = writeln!(text, "inlets = {highest}  {OPEN} how many it has; those without a pipe are plugged");
                text += &format!(
                    "# fan_setting = 1  {OPEN} the setting that is loaded; full speed where it is not stated\n\n"
                );
            }
            None => {
                let _ =
                    writeln!(text, "{OPEN} the unit's fan and losses by its data sheet, or its model: model = \"…\"");
                text += own_unit;
            }
        }
        if let Some(d) = self.outgoing.as_ref().filter(|d| d.air.is_some()) {
            text += "[outgoing]                      # so that its flows as found can be translated to the new unit\n";
            let _ = writeln!(text, "model = {}", quoted(&d.model));
            text += &format!(
                "# fan_setting = 1  {OPEN} the setting that it runs at; full speed where it is not stated\n\n"
            );
        }
        text += "# Facts that nobody can look up keep their defaults with wide tolerances, and the report lists them: wall roughness,\n";
        text += "# discharge of holes, losses of fittings. What was not measured has the basis \"drawing\" or \"assumed\".\n";
        let inlets = if self.inlets.is_empty() { &[1][..] } else { &self.inlets };
        for inlet in inlets {
            let _ = writeln!(text, "{OPEN} the pipe at inlet {inlet} as it is built (this one is an example)");
            text += &pipe.replacen("inlet = 1", &format!("inlet = {inlet}"), 1);
            text += "\n";
        }
        text
    }
    /// `plan.toml`: site, people, units and port filled in.
    pub fn plan(&self) -> String {
        let mut text = String::from(plan::TEMPLATE);
        let mut set = |from: &str, to: Option<String>| {
            if let Some(to) = to {
                text = text.replacen(from, &to, 1);
            }
        };
        set("site = \"Site and zone\"", self.site.as_ref().map(|s| format!("site = {}", quoted(s))));
        set("technician = \"Name\"", self.technician.as_ref().map(|t| format!("technician = {}", quoted(t))));
        let table = |name: &str, d: &Option<Description>| {
            d.as_ref().map(|d| format!("[{name}]\nmodel = {}\n", quoted(&d.model)))
        };
        set("[replacement]\n# model = \"…\"\n", table("replacement", &self.replacement));
        let port =
            self.port.as_ref().map(|p| format!("\nport = {}   # where `plumeline run` is given none\n", quoted(p)));
        set("\nreadings =", port.map(|p| format!("{p}readings =")));
        if self.outgoing_dead {
            text = text.replacen("[outgoing] ", "# dead: [outgoing] ", 1);
        } else if let Some(d) = &self.outgoing {
            text = text.replacen("# model = \"…\" ", &format!("model = {} ", quoted(&d.model)), 1);
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::description::{SHIPPED, parse};

    fn model(name: &str) -> Description {
        let (_, text) = SHIPPED.into_iter().find(|(n, _)| *n == name).unwrap();
        parse(name, text.as_bytes()).unwrap()
    }
    fn begun(begin: &Begin) -> (pipework::PipeworkFile, plan::PlanFile) {
        let pipework = pipework::parse("pipework.toml", begin.pipework().as_bytes());
        let pipework = pipework.unwrap_or_else(|p| panic!("{}\n{}", p.render(false), begin.pipework()));
        let plan = plan::parse("plan.toml", begin.plan().as_bytes(), &pipework.pipework);
        (pipework, plan.unwrap_or_else(|p| panic!("{}\n{}", p.render(false), begin.plan())))
    }

    #[test]
    fn what_is_known_stands_in_the_files_and_they_are_read() {
        let begin = Begin {
            site: Some("Hall \"7\", zone 3".into()),
            technician: Some("B. Name".into()),
            outgoing: Some(model("model-a")),
            outgoing_dead: false,
            replacement: Some(model("model-b")),
            inlets: vec![1, 3],
            port: Some("serial:/dev/ttyUSB0@115200".into()),
        };
        let (pipework, plan) = begun(&begin);
        assert_eq!(
            (pipework.pipework.name.as_str(), plan.plan.site.as_str()),
            ("Hall \"7\", zone 3", "Hall \"7\", zone 3")
        );
        assert_eq!(plan.plan.technician, "B. Name");
        assert_eq!(plan.plan.replacement.model.as_deref(), Some("Model B"));
        assert_eq!(plan.plan.outgoing.unwrap().model.as_deref(), Some("Model A"));
        assert_eq!(plan.port.as_deref(), Some("serial:/dev/ttyUSB0@115200"));
        let in_use: Vec<u8> = pipework.pipework.inlets.iter().filter(|i| i.node.is_some()).map(|i| i.number).collect();
        assert_eq!(in_use, [1, 3]);
        // The unit's own air path is that of the description.
        let air = model("model-b").air.unwrap();
        assert_eq!(pipework.pipework.unit.loss, air.loss);
        assert_eq!(pipework.pipework.unit.sensor_lag_s, air.sensor_lag_s);
        assert!(pipework.outgoing.is_some_and(|o| o.unit.loss == model("model-a").air.unwrap().loss));
        assert!(begin.pipework().matches(OPEN).count() >= 4);
    }
    #[test]
    fn what_is_not_known_stays_open() {
        let (_, plan) = begun(&Begin::default());
        assert!(plan.plan.outgoing.is_some() && plan.plan.replacement.model.is_none() && plan.port.is_none());
        let (_, plan) = begun(&Begin { outgoing_dead: true, ..Begin::default() });
        assert!(plan.plan.outgoing.is_none());
    }
}

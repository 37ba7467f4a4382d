//! The settings that are to be loaded against the model's description, the pipes and the limits.
use super::{Code, Read, Remark};
use crate::folder;
use plumeline_base::pipework::Drive;
use plumeline_unit::{Description, UnitView, Unknown, description::Kind, neutral::Seen};

/// What keeps the settings from being loaded, or from meaning what they should.
pub(super) fn loadable(read: &Read) -> Vec<Remark> {
    let Some(document) = &read.settings else {
        if read.unreadable.contains(&folder::SETTINGS_NEW) {
            return Vec::new();
        }
        let says = "there are no settings for the new unit";
        return vec![Remark::new(Code::SettingsMissing, folder::SETTINGS_NEW, "", says)];
    };
    let Some(described) = &read.replacement else { return Vec::new() };
    let mut remarks = items(&Seen::of(&document.settings, described), described);
    // Thresholds that can't be loaded are not compared.
    if !remarks.iter().any(|r| r.code == Code::SettingUnloadable) {
        remarks.extend(levels(&read.unit()));
    }
    remarks.extend(flow_band(read));
    remarks.extend(fan_speed(read, described));
    remarks.extend(inlets(read));
    remarks
}

fn remark(code: Code, key: &str, says: String) -> Remark {
    Remark::new(code, folder::SETTINGS_NEW, key, says)
}

/// Every item is one that the model takes, and every setting of the model has one.
fn items(seen: &Seen<'_>, described: &Description) -> Vec<Remark> {
    let mut remarks = Vec::new();
    for item in seen.items.iter().map(|i| i.item) {
        let Some(slot) = described.slot(&item.key) else {
            let says = format!("a {} has no such setting", described.model);
            remarks.push(remark(Code::SettingUnknown, &item.key, says));
            continue;
        };
        let wanted = match &slot.kind {
            Kind::Number { unit, .. } => unit.as_deref(),
            _ => None,
        };
        let unit = match (item.unit.as_deref(), wanted) {
            (Some(a), Some(b)) if a != b => Err(format!("it is stated in {a}; the model takes {b}")),
            (None, Some(b)) => Err(format!("it has no unit; the model takes {b}")),
            _ => Ok(()),
        };
        if let Err(why) = unit.and_then(|()| slot.check(&item.value)) {
            remarks.push(remark(Code::SettingUnloadable, &item.key, why));
        }
    }
    let missing = |key: &String| remark(Code::SettingMissing, key, format!("a {} has this setting", described.model));
    remarks.extend(seen.missing.iter().map(missing));
    remarks
}

fn levels(unit: &UnitView<'_>) -> Option<Remark> {
    let mut before: Option<f64> = None;
    for level in 1..=unit.levels().ok()? {
        match unit.threshold(level) {
            Ok(threshold) if before.is_some_and(|b| threshold.0 <= b) => {
                let says = format!("the threshold of level {level} is not over that of level {}", level - 1);
                return Some(remark(Code::LevelsNotRising, &format!("level {level}"), says));
            }
            Ok(threshold) => before = Some(threshold.0),
            Err(why @ Unknown::Learnt) => return Some(remark(Code::ThresholdsLearnt, "", why.to_string())),
            // The item is told of already.
            Err(_) => {}
        }
    }
    None
}

fn flow_band(read: &Read) -> Option<Remark> {
    let limit = read.plan.as_ref()?.plan.limits.flow_band.value;
    let band = read.unit().flow_band().ok()?;
    let widest = band.low.max(band.high);
    (widest > limit + 1e-9).then(|| {
        let says = format!("the flow fault comes at {:.0} %; the plan asks for {:.0} %", widest * 100.0, limit * 100.0);
        remark(Code::FlowBandWide, "flow band", says)
    })
}

fn fan_speed(read: &Read, described: &Description) -> Option<Remark> {
    let Drive::Fan(fan) = &read.pipework.as_ref()?.pipework.unit.drive else { return None };
    let setting = read.unit().fan_setting().ok()?;
    let speed = described.air.as_ref()?.speed(setting)?;
    ((speed - fan.speed).abs() > 0.005).then(|| {
        let says = format!(
            "the fan's setting is {setting}, which is {:.0} % of its speed; the pipework says {:.0} %",
            speed * 100.0,
            fan.speed * 100.0
        );
        remark(Code::FanSpeedDiffers, "fan", says)
    })
}

/// The inlets in use are those that carry a pipe.
fn inlets(read: &Read) -> Vec<Remark> {
    let Some(file) = &read.pipework else { return Vec::new() };
    let unit = read.unit();
    let differs = file.pipework.inlets.iter().filter_map(|i| {
        let used = unit.carries_pipe(i.number).ok()?;
        let there = i.node.is_some();
        (used != there).then(|| {
            let words = |yes| if yes { "carries a pipe" } else { "carries none" };
            let says =
                format!("inlet {} {} by the settings and {} by the pipework", i.number, words(used), words(there));
            remark(Code::InletUseDiffers, &format!("inlet {}", i.number), says)
        })
    });
    differs.collect()
}

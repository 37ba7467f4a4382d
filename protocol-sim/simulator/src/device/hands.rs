//! A unit under somebody's hands: its label, the settings that its display shows, and what its keys do.
//!
//! Not here: what its lamps and its display show of the air ([`super::tell`]), and a setting that is keyed in.
use super::{
    Device, Inhibit,
    asked::{Done, Refused, Why},
    settings::{SettingValue, from_image},
};
use crate::{
    scenario::Which,
    site::control::{AtHand, Deed, Keyed},
};
use plumeline_base::{Instant, quantity::M3_S_PER_L_MIN};
use plumewire::BaselineState;
use std::time::Duration;

/// What a hand holds back stays so until it gives it back.
const HELD: Instant = Instant::FAR_FUTURE;
/// An output that is operated by its keys stays so for as long.
const DRIVEN: Duration = Duration::from_secs(60);

impl Device {
    /// What its label says and its display shows beside the air.
    pub(crate) fn at_hand(&self, unit: Which) -> AtHand {
        let model = self.model();
        let keyed = |value: &SettingValue| match value {
            SettingValue::Switch(on) => Keyed::Switch(*on),
            SettingValue::Number(n) => Keyed::Number(n.to_f64()),
            SettingValue::Text(text) => Keyed::Text(text.clone()),
            SettingValue::Bytes(_) => Keyed::Nothing,
        };
        let settings = from_image(self.image()).unwrap_or_default();
        let l_min = |nl_s: &i64| (*nl_s >= 0).then(|| *nl_s as f64 * 1e-12 / M3_S_PER_L_MIN);
        AtHand {
            unit,
            maker: model.maker.clone(),
            model: model.name.clone(),
            serial: self.serial().into(),
            firmware: model.firmware.clone(),
            inlets: self.inlets(),
            settings: settings.iter().map(|s| (s.key.clone(), keyed(&s.value))).collect(),
            baseline_l_min: self.baseline().map(|b| b.flow_nl_s.iter().map(l_min).collect()),
            taking: self.is_taking() || self.progress().state == BaselineState::Taking,
            inhibited: self.inhibited().holds(),
            supply_v: self.measured.supply_v,
            supply_a: self.measured.supply_a,
        }
    }
    /// Does what somebody asks for at its keys.
    pub(crate) fn by_hand(&mut self, now: Instant, deed: Deed, output: u8) -> Result<(), String> {
        self.deed(now, deed, output).map_err(|Refused(_, why)| why)
    }
    fn deed(&mut self, now: Instant, deed: Deed, output: u8) -> Done<()> {
        match deed {
            Deed::Baseline => self.take(now),
            Deed::Reset => {
                self.reset_latches(now);
                Ok(())
            }
            Deed::Restart => {
                self.restart(now);
                Ok(())
            }
            Deed::Operate => self.drive(now, output, u8::try_from(DRIVEN.as_secs()).unwrap_or(u8::MAX)),
            Deed::Rest => self.undrive(output),
            Deed::HoldBack => {
                let lease = self.inhibit(now, 1)?;
                self.control.inhibit = Inhibit::Leased { lease, until: HELD };
                self.remember_inhibit();
                Ok(())
            }
            Deed::GiveBack => match self.inhibited() {
                Inhibit::Leased { lease, .. } | Inhibit::Lapsed { lease, .. } => self.release(now, lease),
                Inhibit::Free => Err(Refused(Why::Lease, "its outputs are not held back".into())),
            },
        }
    }
}

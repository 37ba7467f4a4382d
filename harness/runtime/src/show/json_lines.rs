//! A job as lines of JSON, for programs.
use super::{OutOfService, Show, print_result};
use crate::session::Outward;
use plumeline_base::Instant;
use plumeline_procedure::Prompt;
use std::time::Duration;

/// One JSON object a line: the journal's entries as they are noted, prompts and the outcome among them, and every ten
/// seconds how long the zone has been out of service.
#[derive(Default)]
pub struct JsonLines {
    out: Option<OutOfService>,
    told: Option<Instant>,
}
impl JsonLines {
    fn clock(&mut self, now: Instant) {
        let Some(out) = self.out else { return };
        if self.told.is_none_or(|t| now.since(t) >= JSON_CLOCK) {
            self.told = Some(now);
            let s = out.seconds(now);
            let told = serde_json::json!({ "s": s, "limit_s": out.limit_s, "over": s > out.limit_s });
            print_result(&serde_json::json!({ "at_us": now.as_micros(), "out_of_service": told }).to_string());
        }
    }
}
const JSON_CLOCK: Duration = Duration::from_secs(10);
impl Show for JsonLines {
    fn say(&mut self, text: &str) {
        print_result(&serde_json::json!({ "said": text.trim() }).to_string());
    }
    fn tick(&mut self, now: Instant, _: Option<&Prompt>) {
        self.clock(now);
    }
    fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        self.out = Some(OutOfService { since, limit_s });
    }
    fn show(&mut self, now: Instant, what: &Outward) {
        if let Outward::Note(entry) = what {
            OutOfService::follow(&mut self.out, now, entry);
        }
        self.clock(now);
        let value = match what {
            Outward::Note(entry) => serde_json::json!({ "at_us": now.as_micros(), "note": entry }),
            Outward::Progress(p) => serde_json::json!({ "at_us": now.as_micros(), "progress": p }),
            _ => return,
        };
        print_result(&value.to_string());
    }
}

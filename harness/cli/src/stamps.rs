//! What the time stamps of a job show: since when its record is there, by whose word.
//!
//! Not here: the form of a stamp, and how one is asked for.
use crate::inspection::{WITHIN_S, jumps};
use plumeline_job::{
    Kind, Problem,
    folder::Folder,
    input_file,
    seal::Standing,
    stamp_file::{self, Of, Stampable},
};
use plumeline_report::Record;
use plumeline_runtime::clock;
use plumeline_stamp::{ANSWER_LIMIT, Anchors, Stamp, StampError};
use serde_json::{Value, json};
use std::path::Path;

/// Longest file of certificates that is read, bytes.
const CERTIFICATES_LIMIT: u64 = 256 * 1024;
/// A stamp later than its seal by so much is told apart from it, s.
const LONG_AFTER_S: f64 = 86_400.0;

/// A stamp that holds.
pub(crate) struct Held {
    of: Of,
    date: String,
    by: String,
    fingerprint: String,
    trusted: bool,
}

impl Held {
    /// What it shows.
    pub(crate) fn words(&self, name: &str) -> String {
        let Self { of, date, by, fingerprint, trusted } = self;
        let trusted = if *trusted {
            "which the named anchor vouches for"
        } else {
            "and no anchor was named with --anchor, so anyone could have made it"
        };
        format!("{name}: {} was there on {date}, by the word of {by} ({fingerprint}), {trusted}", what(*of))
    }
    fn as_json(&self, name: &str) -> Value {
        let Self { of, date, by, fingerprint, trusted } = self;
        let (seal, line) = match of {
            Of::Seal(n) => (Some(n), None),
            Of::Line(n, _) => (None, Some(n)),
        };
        json!({
            "file": name, "seal": seal, "line": line, "date": date, "by": by, "fingerprint": fingerprint, "by_anchor_named": trusted,
        })
    }
}

/// What a stamp is over, for people.
pub(crate) fn what(of: Of) -> String {
    match of {
        Of::Seal(n) => format!("seal {n}"),
        Of::Line(n, _) => format!("the record up to line {n} of the journal"),
    }
}

/// Certificates that a reader trusts.
pub(crate) fn anchors(path: &Path) -> Result<Anchors, Problem> {
    let text = input_file::read(path, "read the certificates", CERTIFICATES_LIMIT)?;
    Anchors::from_pem(&text).map_err(|e| {
        let remedy = "name a file with certificates in PEM form: the service's own, or of whoever vouches for it";
        Problem::with_file(Kind::Syntax, &path.display().to_string(), e.to_string(), remedy)
    })
}

/// Looks at one answer: it must hold, be over something of this record, and, where anchors are named, be by one whom they vouch for.
pub(crate) fn look(
    name: &str,
    answer: &[u8],
    stampable: &Stampable,
    anchors: Option<&Anchors>,
) -> Result<Held, Problem> {
    let refused = |e: StampError| match e {
        StampError::NotTrusted(_) => {
            let remedy = "name the certificate that you have from the service itself; do not trust this stamp without";
            Problem::with_file(Kind::Altered, name, e.to_string(), remedy)
        }
        _ => Problem::with_file(
            Kind::Altered,
            name,
            e.to_string(),
            "use the answer as the service gave it, or ask again",
        ),
    };
    let stamp: Stamp = plumeline_stamp::read(answer).map_err(refused)?;
    let of = stampable.find(&plumeline_job::digest::Digest(*stamp.sha256())).ok_or_else(|| {
        let cause = "it is a stamp over something else than this record: over no seal and no line of the journal here";
        Problem::with_file(Kind::Altered, name, cause, "find the record that it is of; this one was not stamped by it")
    })?;
    if let Some(anchors) = anchors {
        anchors.vouch_for(&stamp).map_err(refused)?;
    }
    let digits: String = stamp.fingerprint().map_err(refused)?.iter().take(16).map(|b| format!("{b:02x}")).collect();
    Ok(Held {
        of,
        date: clock::since_1970(stamp.at()).unwrap_or_else(|| "unknown".to_owned()),
        by: stamp.by(),
        fingerprint: digits,
        trusted: anchors.is_some(),
    })
}

/// The stamps of a job.
#[derive(Default)]
pub(crate) struct Stamps {
    held: Vec<(String, Held)>,
    /// What does not hold.
    pub(crate) problems: Vec<Problem>,
    /// Dates of the record that can't be.
    pub(crate) doubts: Vec<String>,
}

impl Stamps {
    /// Looks at all of them. Where anchors are named and there is no stamp, nothing is shown, and that is a problem.
    pub(crate) fn of(folder: &Folder, standing: &Standing, record: Option<&Record>, anchors: Option<&Anchors>) -> Self {
        let mut stamps = Self::default();
        let all = match stamp_file::all(folder, ANSWER_LIMIT as u64) {
            Ok(all) => all,
            Err(problem) => {
                stamps.problems.push(problem);
                return stamps;
            }
        };
        if all.is_empty() && anchors.is_some() {
            let cause = "there is no time stamp, so nothing shows since when this record is there";
            let remedy = "ask for the stamped record; `plumeline stamp` makes the request for one";
            stamps.problems.push(Problem::with_file(Kind::Absent, &stamp_file::file_name(1), cause, remedy));
        }
        let stampable = if all.is_empty() { Stampable::default() } else { Stampable::of(folder, standing) };
        for (name, bytes) in all {
            match bytes.and_then(|bytes| look(&name, &bytes, &stampable, anchors)) {
                Ok(held) => stamps.held.push((name, held)),
                Err(problem) => stamps.problems.push(problem),
            }
        }
        stamps.doubts = stamps.find_doubts(standing, record);
        stamps
    }
    /// What they show.
    pub(crate) fn words(&self) -> impl Iterator<Item = String> {
        self.held.iter().map(|(name, held)| held.words(name))
    }
    /// For programs.
    pub(crate) fn as_json(&self) -> Vec<Value> {
        self.held.iter().map(|(name, held)| held.as_json(name)).collect()
    }
    /// Dates of the record that the stamps do not bear out: later than a stamp over what they date, which can't be.
    fn find_doubts(&self, standing: &Standing, record: Option<&Record>) -> Vec<String> {
        let later = |name: &str, held: &Held, stated: &str| {
            clock::between(stated, &held.date)
                .is_none_or(|s| s < -WITHIN_S)
                .then(|| format!("{} says {stated}, but {name} over it is of {}", what(held.of), held.date))
        };
        let all = self.held.iter().filter_map(|(name, held)| match held.of {
            Of::Seal(n) => later(name, held, &sealed_on(standing, n)?),
            Of::Line(_, at_us) => later(name, held, &dated(record?, at_us)?),
        });
        all.collect()
    }
    /// Seals that are shown to be there only long after the date that they state: so long they could have been dated back.
    pub(crate) fn late(&self, standing: &Standing) -> Vec<String> {
        let all = self.held.iter().filter_map(|(name, held)| {
            let Of::Seal(n) = held.of else { return None };
            let (stated, first) = (sealed_on(standing, n)?, self.first_over(held.of)?);
            let after = clock::between(&stated, &held.date).filter(|s| *s > LONG_AFTER_S && first == name)?;
            Some(format!(
                "seal {n} states {stated}; that it was there is shown {:.0} days later by {name}",
                after / 86_400.0
            ))
        });
        all.collect()
    }
    fn first_over(&self, of: Of) -> Option<&str> {
        let over = self.held.iter().filter(|(_, held)| held.of == of);
        over.min_by(|a, b| a.1.date.cmp(&b.1.date)).map(|(name, _)| name.as_str())
    }
}

fn sealed_on(standing: &Standing, number: u32) -> Option<String> {
    standing.seals.iter().find(|held| held.seal.number == number).map(|held| held.seal.date.clone())
}

/// The date of a time of the log; nothing where time jumps.
fn dated(record: &Record, at_us: u64) -> Option<String> {
    let at = plumeline_base::Instant::from_micros(at_us);
    let (then, date) = record.dates.iter().rfind(|(then, _)| *then <= at).filter(|_| !jumps(record))?;
    clock::later(date, at.since(*then).as_secs_f64())
}

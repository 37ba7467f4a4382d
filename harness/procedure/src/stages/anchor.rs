//! The code of the record so far, left in the unit's own event log where the unit takes notes, and what earlier records left there.
//! No verdict hangs on it: it is for whoever checks the record later.
use super::held;
use crate::{
    anchor::Note,
    context::Context,
    effect::{Effect, Entry},
    executor::{race, wait_for},
};
use alloc::{format, string::String};
use core::time::Duration;
use plumeline_detector::{UnitEvent, ask, vocabulary::EventKind};

/// Whoever keeps the journal tells its code at once, or not at all.
const PATIENCE: Duration = Duration::from_secs(1);

/// Leaves the code of the isolation in the log of the unit on the cable, once for each unit.
pub(super) async fn isolated(ctx: &Context) {
    let Some(serial) = takes_notes(ctx) else { return };
    if ctx.get().record.anchors.left.contains(&serial) {
        return;
    }
    let told = ctx.get().record.anchors.isolated.clone();
    let isolated = match told {
        Some(code) => code,
        None => match head(ctx).await {
            Some(code) => code,
            None => return,
        },
    };
    if leave(ctx, Note { serial: serial.clone(), isolated, closed: None }).await {
        ctx.edit().record.anchors.left.insert(serial);
    }
}

/// Leaves the code of the record as it goes back.
pub(super) async fn closed(ctx: &Context) {
    let Some(serial) = takes_notes(ctx) else { return };
    let Some(closed) = head(ctx).await else { return };
    let isolated = ctx.get().record.anchors.isolated.clone().unwrap_or_else(|| closed.clone());
    leave(ctx, Note { serial, isolated, closed: Some(closed) }).await;
}

/// The unit that can be left a note, of a zone that went out of service.
fn takes_notes(ctx: &Context) -> Option<String> {
    let can = ctx.abilities().is_some_and(|a| a.notes);
    let s = ctx.get();
    let serial = s.unit.identity.as_ref().map(|unit| unit.serial.clone())?;
    (can && s.lines.used().link.up && s.site.isolated_at.is_some()).then_some(serial)
}

/// The code of the journal as far as it is written; `None` where none is kept.
async fn head(ctx: &Context) -> Option<String> {
    ctx.edit().record.anchors.head = None;
    ctx.effect(Effect::TellHead);
    let told = wait_for(|| ctx.get().record.anchors.head.is_some().then_some(()));
    race(told, ctx.sleep(PATIENCE)).await;
    ctx.get().record.anchors.head.clone()
}

async fn leave(ctx: &Context, note: Note) -> bool {
    let end = held::soon(ctx, ask::WriteNote { text: note.words() }).await;
    match &end {
        Ok(()) => ctx.note(Entry::NoteLeft(note)),
        Err(trouble) => ctx.remark(format!("the record's code was not left in the unit's event log: {trouble}")),
    }
    end.is_ok()
}

/// Notes what earlier records left in a unit's log.
pub(super) fn met(ctx: &Context, serial: &str, events: &[UnitEvent]) {
    let notes = events.iter().filter(|e| e.kind == EventKind::Noted).filter_map(|e| Note::read(serial, &e.text));
    notes.for_each(|note| ctx.note(Entry::NoteMet(note)));
}

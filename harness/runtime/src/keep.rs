//! Keepers of a session: the job folder on the disk, and memory for tests and campaigns.
use crate::{failure::Failure, session::Keeper};
use plumeline_base::Instant;
use plumeline_detector::{Identity, settings::Settings};
use plumeline_job::{
    digest::Digest,
    folder::{self, Folder},
    journal,
};
use plumeline_procedure::{Entry, effect::KeptSettings};
use plumeline_trace::{Citation, Disk, Hash, LogRecord, LogWriter, TRACE_FILE};

/// The citation of a log entry, as the journal writes it.
pub fn cite(c: &Citation) -> journal::Citation {
    journal::Citation { offset: c.offset, index: c.index, hash: Digest(c.hash.0) }
}

/// A job folder on the disk; the log may be on another one, for tests.
pub struct DiskKeeper<D = plumeline_trace::Folder> {
    folder: Folder,
    log: LogWriter<D>,
    synced_to: u64,
    journal: journal::Writer,
}
impl DiskKeeper<plumeline_trace::Folder> {
    /// A new log and journal in a folder that has neither.
    pub fn create(folder: &Folder) -> Result<Self, Failure> {
        Self::create_on(folder, plumeline_trace::Folder::new(folder.dir()))
    }
}
impl<D: Disk> DiskKeeper<D> {
    /// A new log on this disk and a new journal.
    pub fn create_on(folder: &Folder, disk: D) -> Result<Self, Failure> {
        let log = LogWriter::create(disk, TRACE_FILE)?;
        let journal = journal::Writer::create(folder.disk(), &folder.path(folder::JOURNAL)?)?;
        Ok(Self { folder: folder.clone(), log, synced_to: 0, journal })
    }
    /// A keeper over a log and a journal that were taken up again.
    pub fn resumed(folder: &Folder, log: LogWriter<D>, journal: journal::Writer) -> Self {
        Self { folder: folder.clone(), log, synced_to: 0, journal }
    }
    /// The end of the log.
    pub fn log_end(&self) -> Option<Citation> {
        self.log.end()
    }
    /// The hash of the journal's last line.
    pub fn journal_head(&self) -> Digest {
        self.journal.chain().head()
    }
    /// Puts everything on the disk.
    pub fn sync(&mut self) -> Result<(), Failure> {
        self.log.sync()?;
        self.synced_to = self.log.end().map_or(0, |c| c.offset);
        Ok(())
    }
}
impl<D: Disk> Keeper for DiskKeeper<D> {
    fn log(&mut self, record: LogRecord) -> Result<Citation, Failure> {
        Ok(self.log.append(&record)?)
    }
    fn journal(&mut self, at: Instant, citation: &Citation, entries: &[Entry]) -> Result<(), Failure> {
        if citation.offset > self.synced_to {
            self.sync()?;
        }
        for entry in entries {
            self.journal.append(at, &cite(citation), self.synced_to, entry)?;
        }
        Ok(())
    }
    fn head(&self) -> Option<Digest> {
        Some(self.journal_head())
    }
    fn settings(&mut self, which: KeptSettings, settings: &Settings, unit: &Identity) -> Result<(), Failure> {
        let name = match which {
            KeptSettings::AsFound => folder::SETTINGS_AS_FOUND,
            KeptSettings::AsLeft => folder::SETTINGS_AS_LEFT,
        };
        Ok(plumeline_job::settings::write(&self.folder, name, settings, Some(unit))?)
    }
}

/// Keeps nothing but the journal's chain: for tests and campaigns.
#[derive(Default)]
pub struct MemoryKeeper {
    index: u64,
    /// The journal's bytes so far.
    pub journal: Vec<u8>,
    chain: journal::Chain,
}
impl Keeper for MemoryKeeper {
    fn log(&mut self, _: LogRecord) -> Result<Citation, Failure> {
        let index = self.index;
        self.index += 1;
        Ok(Citation { offset: index, index, hash: Hash([0; 32]) })
    }
    fn journal(&mut self, at: Instant, citation: &Citation, entries: &[Entry]) -> Result<(), Failure> {
        for entry in entries {
            self.journal.extend(self.chain.line(at, &cite(citation), entry)?);
        }
        Ok(())
    }
    // As on the disk: a code is left in the unit's log, which takes its time.
    fn head(&self) -> Option<Digest> {
        Some(self.chain.head())
    }
    fn settings(&mut self, _: KeptSettings, _: &Settings, _: &Identity) -> Result<(), Failure> {
        Ok(())
    }
}

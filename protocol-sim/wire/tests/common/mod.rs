//! One sample of every message, by CDDL rule name; the same values stand in `scripts/wire/samples.py`.
#![allow(dead_code, reason = "each test program uses a part")]
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
use plumewire::{
    Message::{Refusal, Reply, Report, Request},
    *,
};

pub(crate) const DIGEST: [u8; 32] = {
    let mut d = [0u8; 32];
    let mut i = 0;
    while i < 32 {
        d[i] = i as u8;
        i += 1;
    }
    d
};
static PART: [u8; 512] = {
    let mut part = [0u8; 512];
    let mut i = 0;
    while i < 512 {
        part[i] = [0, 1, 0, 255][i % 4];
        i += 1;
    }
    part
};
const LOG: [LogEntry<'static>; 2] = [
    LogEntry { position: 41, boot_id: 0xB0071D, at_us: 1_000_000, code: EventCode::Started as u16, text: "started" },
    LogEntry {
        position: 42,
        boot_id: 0xB0071D,
        at_us: 90_000_000,
        code: EventCode::Fault as u16,
        text: "flow of inlet 2 low",
    },
];
const NOTE: &str = "record, isolated 0123-4567-89AB-CDEF-00";
const NONE: Nothing = Nothing {};

fn list<const N: usize>(values: &[Sample]) -> List<Sample, N> {
    List::from_slice(values).unwrap()
}

pub(crate) fn samples() -> Vec<(&'static str, Message<'static>)> {
    use Sample::{Absent, Failed, Value};
    let hello = HelloReply {
        version: 1,
        token: 0xC0FFEE,
        maker: "Example Works",
        model: "Specimen 4",
        serial: "SN-0001",
        firmware: "1.2.3",
        boot_id: 0x1234_5678_9ABC_DEF0,
        uptime_us: 31_000_000,
        starting: false,
        capabilities: Capabilities {
            inlets: 4,
            alarm_levels: 4,
            outputs: 7,
            inputs: 2,
            sensors: Sensors(0b111111),
            obscuration_per_inlet: true,
            flow_reference: Some(FlowReference { temperature_mk: 293_150, pressure_pa: 101_325 }),
            flow_max_nl_s: 2_000_000_000,
            obscuration_max_n_m: 250_000_000,
            rate_max_hz: 20,
            settings_max: 16_384,
            chunk_max: 512,
            lease_max_s: 600,
            wall_clock: Some(true),
            simulated: None,
            notes: Some(true),
        },
    };
    let reading = plumewire::Reading {
        taken_us: 32_100_000,
        dropped: 3,
        flow_nl_s: list(&[Value(700_000_000), Failed, Absent, Value(0)]),
        obscuration_n_m: list(&[Value(-1_500)]),
        fan_mrev_s: Value(50_000),
        temperature_mk: Value(295_650),
        supply_mv: Value(24_120),
        supply_ma: Absent,
        inputs: 0b10,
        outputs: 0,
        faults: Faults::FLOW,
        faults_latched: Faults::FLOW.with(Faults::OTHER),
        flow_low: 0b10,
        flow_high: 0,
        alarms: 0,
        alarms_latched: 0b1,
        conditions: Conditions::INHIBITED,
    };
    let baseline = plumewire::Baseline {
        id: 7,
        flow_nl_s: list(&[Value(700_000_000), Value(650_000_000)]),
        uncertainty_nl_s: list(&[Value(1_200_000), Value(1_100_000)]),
        temperature_mk: Value(295_650),
        fan_mrev_s: Value(50_000),
        duration_ms: 60_000,
        boot_id: 0x1234_5678_9ABC_DEF0,
        taken_us: 95_000_000,
        settings_revision: 12,
    };
    let status = plumewire::BaselineStatus {
        state: BaselineState::Failed,
        progress: 0,
        held: Some(7),
        reason: Some("flow not steady"),
    };
    let taking = plumewire::BaselineStatus { state: BaselineState::Taking, progress: 0, held: None, reason: None };
    let lease = Lease { lease: 9, seconds: 30 };
    let open = OpenTransaction { transaction: 5, received: 512, length: 1_234, digest: DIGEST };
    let outputs = plumewire::OutputsStatus {
        inhibit: InhibitState::Leased,
        lease: Some(9),
        left_ms: 29_500,
        driven: 0b100,
        operated: 0b100,
    };
    let manifest = Manifest { revision: 12, length: 1_234, digest: DIGEST, schema: "specimen-4/2" };
    let refusal = plumewire::Refusal { code: RefusalCode::NotClear, reason: "alarm level 1 is latched" };
    let page = LogPage { oldest: 1, next: 43, entries: List::from_slice(&LOG).unwrap() };
    let hello_request = HelloRequest { version_min: 1, version_max: 1, token: 0xC0FFEE };
    let wall_clock = WallClock { utc_ms: Some(1_767_254_400_004), zone_min: -60 };
    let clock = ClockReply { sent_us: 123_456_789, received_us: 31_000_100, replied_us: 31_000_350 };
    let begin = plumewire::WriteBegin { base_revision: 12, length: 1_234, digest: DIGEST };
    let chunk = plumewire::WriteChunk { transaction: 5, offset: 0, bytes: &[1; 512] };
    let renew = plumewire::InhibitRenew { lease: 9, seconds: 30 };
    vec![
        ("request-hello", Request(plumewire::Request::Hello(hello_request))),
        ("reply-hello", Reply(plumewire::Reply::Hello(hello))),
        ("request-wall-clock", Request(plumewire::Request::WallClock(Nothing {}))),
        ("reply-wall-clock", Reply(plumewire::Reply::WallClock(wall_clock))),
        (
            "request-wall-clock-set",
            Request(plumewire::Request::WallClockSet(WallClockSet { utc_ms: 1_767_254_400_000 })),
        ),
        ("reply-wall-clock-set", Reply(plumewire::Reply::WallClockSet(wall_clock))),
        ("request-clock", Request(plumewire::Request::Clock(ClockRequest { sent_us: 123_456_789 }))),
        ("reply-clock", Reply(plumewire::Reply::Clock(clock))),
        ("request-restart", Request(plumewire::Request::Restart(NONE))),
        ("reply-restart", Reply(plumewire::Reply::Restart(NONE))),
        ("refusal", Refusal(Operation::InhibitRelease as u8, refusal)),
        (
            "request-readings-start",
            Request(plumewire::Request::ReadingsStart(plumewire::ReadingsStart { rate_hz: 10 })),
        ),
        ("reply-readings-start", Reply(plumewire::Reply::ReadingsStart(ReadingsStarted { rate_hz: 10 }))),
        ("request-readings-stop", Request(plumewire::Request::ReadingsStop(NONE))),
        ("reply-readings-stop", Reply(plumewire::Reply::ReadingsStop(NONE))),
        ("report-reading", Report(plumewire::Report::Reading(reading))),
        ("request-settings-manifest", Request(plumewire::Request::SettingsManifest(NONE))),
        ("reply-settings-manifest", Reply(plumewire::Reply::SettingsManifest(manifest))),
        (
            "request-settings-read",
            Request(plumewire::Request::SettingsRead(plumewire::SettingsRead {
                revision: 12,
                offset: 512,
                length: 512,
            })),
        ),
        ("reply-settings-read", Reply(plumewire::Reply::SettingsRead(SettingsPart { offset: 512, bytes: &PART }))),
        ("request-write-begin", Request(plumewire::Request::WriteBegin(begin))),
        ("reply-write-begin", Reply(plumewire::Reply::WriteBegin(WriteBegun { transaction: 5 }))),
        ("request-write-chunk", Request(plumewire::Request::WriteChunk(chunk))),
        ("reply-write-chunk", Reply(plumewire::Reply::WriteChunk(WriteProgress { received: 512 }))),
        (
            "request-write-commit",
            Request(plumewire::Request::WriteCommit(plumewire::WriteCommit { transaction: 5, digest: DIGEST })),
        ),
        ("reply-write-commit", Reply(plumewire::Reply::WriteCommit(WriteCommitted { revision: 13 }))),
        ("request-write-status", Request(plumewire::Request::WriteStatus(NONE))),
        (
            "reply-write-status",
            Reply(plumewire::Reply::WriteStatus(plumewire::WriteStatus { revision: 12, open: Some(open) })),
        ),
        (
            "request-write-abandon",
            Request(plumewire::Request::WriteAbandon(plumewire::WriteAbandon { transaction: 5 })),
        ),
        ("reply-write-abandon", Reply(plumewire::Reply::WriteAbandon(NONE))),
        ("request-baseline-take", Request(plumewire::Request::BaselineTake(NONE))),
        ("reply-baseline-take", Reply(plumewire::Reply::BaselineTake(taking))),
        ("request-baseline-status", Request(plumewire::Request::BaselineStatus(NONE))),
        ("reply-baseline-status", Reply(plumewire::Reply::BaselineStatus(status))),
        ("request-baseline-read", Request(plumewire::Request::BaselineRead(NONE))),
        ("reply-baseline-read", Reply(plumewire::Reply::BaselineRead(baseline))),
        ("request-inhibit", Request(plumewire::Request::Inhibit(plumewire::Inhibit { seconds: 30 }))),
        ("reply-inhibit", Reply(plumewire::Reply::Inhibit(lease))),
        ("request-inhibit-renew", Request(plumewire::Request::InhibitRenew(renew))),
        ("reply-inhibit-renew", Reply(plumewire::Reply::InhibitRenew(lease))),
        (
            "request-inhibit-release",
            Request(plumewire::Request::InhibitRelease(plumewire::InhibitRelease { lease: 9 })),
        ),
        ("reply-inhibit-release", Reply(plumewire::Reply::InhibitRelease(NONE))),
        ("request-outputs-status", Request(plumewire::Request::OutputsStatus(NONE))),
        ("reply-outputs-status", Reply(plumewire::Reply::OutputsStatus(outputs))),
        ("request-drive", Request(plumewire::Request::Drive(plumewire::Drive { output: 3, seconds: 10 }))),
        ("reply-drive", Reply(plumewire::Reply::Drive(NONE))),
        ("request-undrive", Request(plumewire::Request::Undrive(plumewire::Undrive { output: 3 }))),
        ("reply-undrive", Reply(plumewire::Reply::Undrive(NONE))),
        ("request-reset-latches", Request(plumewire::Request::ResetLatches(NONE))),
        ("reply-reset-latches", Reply(plumewire::Reply::ResetLatches(Latches { alarms: 0b1, faults: Faults::FAN }))),
        ("request-log-read", Request(plumewire::Request::LogRead(plumewire::LogRead { from: 41 }))),
        ("reply-log-read", Reply(plumewire::Reply::LogRead(page))),
        ("request-log-note", Request(plumewire::Request::LogNote(LogNote { text: NOTE }))),
        ("reply-log-note", Reply(plumewire::Reply::LogNote(LogNoted { position: 43 }))),
        ("report-log", Report(plumewire::Report::Log(LOG[1]))),
    ]
}

/// What a decoder gave: header and payload, or why not.
pub(crate) type Found = Result<(Header, Vec<u8>), Discard>;

/// The frame of a message, on the line.
pub(crate) fn on_the_line(message: &Message<'_>, conversation: u32, sequence: u32) -> Vec<u8> {
    let mut out = [0; MAX_WIRE];
    let len = message.write(conversation, sequence, &mut out).unwrap();
    out[..len].to_vec()
}
/// Stuffed bytes without delimiters, unstuffed; true if a frame may end there.
pub(crate) fn unstuff(mut stuffed: &[u8]) -> (Vec<u8>, bool) {
    let (mut unstuffer, mut plain) = (cobs::Unstuffer::START, Vec::new());
    while !stuffed.is_empty() {
        plain.extend_from_slice(unstuffer.next_piece(&mut stuffed));
    }
    (plain, unstuffer.may_end())
}
/// The unstuffed frame of a frame on the line.
pub(crate) fn unstuffed(wire: &[u8]) -> Vec<u8> {
    unstuff(&wire[1..wire.len() - 1]).0
}
/// Frames (as header and payload) and discards that a fresh decoder makes of the stream given in these pieces.
pub(crate) fn decode_pieces<'a>(pieces: impl IntoIterator<Item = &'a [u8]>) -> (Vec<Found>, Counters) {
    let mut decoder = Decoder::new();
    let mut found = Vec::new();
    for mut piece in pieces {
        while let Some(one) = decoder.next_frame(&mut piece) {
            found.push(one.map(|f| (f.header, f.payload.to_vec())));
        }
    }
    (found, *decoder.counters())
}
pub(crate) fn from_hex(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(&hex[i..i + 2], 16).unwrap()).collect()
}

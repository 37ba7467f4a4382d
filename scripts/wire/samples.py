"""One sample of every message, by CDDL rule name; the same values stand in the crate's tests/common/mod.rs."""
DIGEST = bytes(range(32))
LOG = [
    {0: 41, 1: 0xB007_1D, 2: 1_000_000, 3: 1, 4: "started"},
    {0: 42, 1: 0xB007_1D, 2: 90_000_000, 3: 4, 4: "flow of inlet 2 low"},
]
BASELINE_STATUS = {0: 3, 1: 0, 2: 7, 3: "flow not steady"}

SAMPLES = {
    "request-hello": {0: 1, 1: 1, 2: 0xC0FFEE},
    "reply-hello": {
        0: 1, 1: 0xC0FFEE, 2: "Example Works", 3: "Specimen 4", 4: "SN-0001", 5: "1.2.3",
        6: 0x1234_5678_9ABC_DEF0, 7: 31_000_000, 8: False,
        9: {0: 4, 1: 4, 2: 7, 3: 2, 4: 0b111111, 5: True, 6: {0: 293_150, 1: 101_325}, 7: 2_000_000_000,
            8: 250_000_000, 9: 20, 10: 16_384, 11: 512, 12: 600, 13: True, 15: True},
    },
    "request-wall-clock": {}, "reply-wall-clock": {0: 1_767_254_400_004, 1: -60},
    "request-wall-clock-set": {0: 1_767_254_400_000}, "reply-wall-clock-set": {0: 1_767_254_400_004, 1: -60},
    "request-clock": {0: 123_456_789},
    "reply-clock": {0: 123_456_789, 1: 31_000_100, 2: 31_000_350},
    "request-restart": {}, "reply-restart": {},
    "refusal": {0: 17, 1: "alarm level 1 is latched"},
    "request-readings-start": {0: 10}, "reply-readings-start": {0: 10},
    "request-readings-stop": {}, "reply-readings-stop": {},
    "report-reading": {
        0: 32_100_000, 1: 3, 2: [700_000_000, False, None, 0], 3: [-1_500], 4: 50_000, 5: 295_650, 6: 24_120, 7: None,
        8: 0b10, 9: 0, 10: 0b1, 11: 0x8000_0001, 12: 0b10, 13: 0, 14: 0, 15: 0b1, 16: 0b100,
    },
    "request-settings-manifest": {},
    "reply-settings-manifest": {0: 12, 1: 1_234, 2: DIGEST, 3: "specimen-4/2"},
    "request-settings-read": {0: 12, 1: 512, 2: 512},
    "reply-settings-read": {0: 512, 1: bytes([0, 1, 0, 255] * 128)},
    "request-write-begin": {0: 12, 1: 1_234, 2: DIGEST}, "reply-write-begin": {0: 5},
    "request-write-chunk": {0: 5, 1: 0, 2: b"\x01" * 512}, "reply-write-chunk": {0: 512},
    "request-write-commit": {0: 5, 1: DIGEST}, "reply-write-commit": {0: 13},
    "request-write-status": {}, "reply-write-status": {0: 12, 1: {0: 5, 1: 512, 2: 1_234, 3: DIGEST}},
    "request-write-abandon": {0: 5}, "reply-write-abandon": {},
    "request-baseline-take": {}, "reply-baseline-take": {0: 1, 1: 0},
    "request-baseline-status": {}, "reply-baseline-status": BASELINE_STATUS,
    "request-baseline-read": {},
    "reply-baseline-read": {
        0: 7, 1: [700_000_000, 650_000_000], 2: [1_200_000, 1_100_000], 3: 295_650, 4: 50_000, 5: 60_000,
        6: 0x1234_5678_9ABC_DEF0, 7: 95_000_000, 8: 12,
    },
    "request-inhibit": {0: 30}, "reply-inhibit": {0: 9, 1: 30},
    "request-inhibit-renew": {0: 9, 1: 30}, "reply-inhibit-renew": {0: 9, 1: 30},
    "request-inhibit-release": {0: 9}, "reply-inhibit-release": {},
    "request-outputs-status": {}, "reply-outputs-status": {0: 1, 1: 9, 2: 29_500, 3: 0b100, 4: 0b100},
    "request-drive": {0: 3, 1: 10}, "reply-drive": {},
    "request-undrive": {0: 3}, "reply-undrive": {},
    "request-reset-latches": {}, "reply-reset-latches": {0: 0b1, 1: 0b10},
    "request-log-read": {0: 41}, "reply-log-read": {0: 1, 1: 43, 2: LOG},
    "request-log-note": {0: "record, isolated 0123-4567-89AB-CDEF-00"}, "reply-log-note": {0: 43},
    "report-log": LOG[1],
}

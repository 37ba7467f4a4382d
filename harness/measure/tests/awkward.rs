//! Awkward signals with expected outcomes, and evidence that must never be judged. All signals come from a seeded generator.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_base::{Instant, quantity::Estimate};
use plumeline_measure::{
    Error, Sample,
    clock::{self, Exchange, Tie},
    decide::{Limits, Rule as DecisionRule, decide},
    mean,
    mean::{Terms, mean_of},
    pool::{Run, Series, pool},
    settle::{Fault, Limit, Reason, Rule, Settler, State},
    smoke::{self, Outcome, Release, Unclear},
};
use std::time::Duration;

#[allow(unreachable_pub)]
mod signals;
use signals::{Dice, at, puff, smoke_signal};

/// 40 with a scatter of 0.5 %, two readings a second.
fn flow(seconds: f64, mut f: impl FnMut(f64) -> f64) -> Vec<Sample> {
    let mut dice = Dice::new(11);
    (0..(seconds * 2.0) as u32)
        .map(|i| f64::from(i) / 2.0)
        .map(|t| Sample::new(at(t), 40.0 * (1.0 + f(t) + 0.005 * dice.normal())))
        .collect()
}
fn follow(samples: &[Sample]) -> (Settler, Vec<State>) {
    let mut settler = Settler::new(Rule::default(), Instant::START);
    let states = samples
        .iter()
        .map(|s| {
            settler.push(*s);
            settler.state(s.at)
        })
        .collect();
    (settler, states)
}
fn last(states: &[State]) -> State {
    states[states.len() - 1]
}
fn steady(state: &State) -> bool {
    matches!(state, State::Steady { .. })
}

#[test]
fn steady_flow_is_steady_after_two_windows() {
    let (_, states) = follow(&flow(200.0, |_| 0.0));
    let first = states.iter().position(steady).unwrap();
    assert_eq!(first, 240);
    let State::Steady { mean, slopes, limit, since, .. } = last(&states) else { panic!("{:?}", last(&states)) };
    assert!((mean.estimate.value - 40.0).abs() < 0.05);
    assert!(slopes.iter().all(|s| s.per_minute.abs() + s.half_width <= limit));
    assert_eq!(since, at(120.0));
    assert!(
        matches!(states[100], State::NotYet { because: Reason::WindowsNotFull, wait_estimate: Some(w) } if w == Duration::from_secs(70))
    );
}

#[test]
fn drift_is_a_trend() {
    let (_, states) = follow(&flow(600.0, |t| 0.0006 * t));
    assert!(!states.iter().any(steady));
    assert!(matches!(last(&states), State::NotYet { because: Reason::Trend { .. }, .. }));
}

#[test]
fn approach_gives_a_wait_that_holds() {
    let (tau, size) = (60.0, 0.5);
    let (_, states) = follow(&flow(600.0, |t| size * (-t / tau).exp()));
    let State::NotYet { because: Reason::Trend { .. }, wait_estimate: Some(wait) } = states[300] else {
        panic!("{:?}", states[300]);
    };
    let first = states.iter().position(steady).unwrap() as f64 / 2.0;
    let foretold = 150.0 + wait.as_secs_f64();
    assert!((first - foretold).abs() < 60.0, "steady at {first}, foretold {foretold}");
}

#[test]
fn a_spike_is_set_aside_and_many_are_not() {
    let spiky = |every: f64| move |t: f64| if t > 0.0 && t % every == 0.0 { 0.5 } else { 0.0 };
    assert!(steady(&last(&follow(&flow(300.0, spiky(100.0))).1)));
    let (_, states) = follow(&flow(300.0, spiky(10.0)));
    assert!(!states.iter().any(steady));
    assert!(matches!(last(&states), State::NotYet { because: Reason::Spikes { count, .. }, .. } if count > 2));
}

#[test]
fn stuck_is_a_fault_at_once_or_later() {
    let mut samples = flow(300.0, |_| 0.0);
    let value = samples[400].value;
    samples[400..].iter_mut().for_each(|s| s.value = value);
    let (_, states) = follow(&samples);
    assert!(steady(&states[399]));
    assert!(
        matches!(last(&states), State::Faulty { because: Fault::Stuck { value: v, since } } if v == value && since == at(200.0))
    );
    samples.iter_mut().for_each(|s| s.value = 40.0);
    assert!(!follow(&samples).1.iter().any(steady));
}

#[test]
fn gap_restart_and_silence_need_whole_windows_again() {
    let all = flow(500.0, |_| 0.0);
    let gapped: Vec<Sample> = all.iter().copied().filter(|s| s.at < at(200.0) || s.at > at(210.0)).collect();
    let (settler, states) = follow(&gapped);
    assert!(steady(&states[399]));
    assert!(matches!(states[401], State::NotYet { because: Reason::Gap { after, .. }, .. } if after == at(199.5)));
    let again = states[401..].iter().position(steady).unwrap() as f64 / 2.0;
    assert!(again >= 115.0, "{again}");
    let end = gapped[gapped.len() - 1].at;
    assert!(steady(&settler.state(end)));
    assert!(matches!(settler.state(end + Duration::from_secs(4)), State::NotYet { because: Reason::Stale { .. }, .. }));

    let (mut settler, _) = follow(&all);
    settler.restart(at(500.0));
    settler.push(Sample::new(at(500.5), 40.0));
    assert!(matches!(
        settler.state(at(500.5)),
        State::NotYet { because: Reason::Restart { .. }, wait_estimate: Some(_) }
    ));
    let (mut settler, _) = follow(&all);
    settler.gap(at(505.0));
    assert!(!steady(&settler.state(at(500.0))));
}

#[test]
fn step_and_oscillation_are_named() {
    let (_, states) = follow(&flow(300.0, |t| if t > 200.0 { -0.06 } else { 0.0 }));
    let named = states.iter().any(|s| matches!(s, State::NotYet { because: Reason::Step { at: when, by }, .. } if (by + 2.4).abs() < 0.2 && when.since(at(199.0)).as_secs() < 3));
    assert!(named);
    let (_, states) = follow(&flow(300.0, |t| 0.04 * (t / 20.0 * std::f64::consts::TAU).sin()));
    assert!(!states.iter().any(steady));
    let State::NotYet { because: Reason::Oscillation { amplitude, period_s }, wait_estimate: None } = last(&states)
    else {
        panic!("{:?}", last(&states));
    };
    assert!((amplitude - 1.6).abs() < 0.1 && (period_s - 20.0).abs() < 1.0);
}

#[test]
fn not_a_number_and_disorder_are_faults_until_the_windows_are_clean() {
    for bad in [f64::NAN, f64::INFINITY] {
        let mut samples = flow(400.0, |_| 0.0);
        samples[500].value = bad;
        let (_, states) = follow(&samples);
        assert!(steady(&states[499]));
        assert!(states[500..739].iter().all(|s| matches!(s, State::Faulty { because: Fault::NotANumber { .. } })));
        assert!(steady(&last(&states)));
    }
    let mut samples = flow(260.0, |_| 0.0);
    samples[500].at = samples[400].at;
    assert!(matches!(last(&follow(&samples).1), State::Faulty { because: Fault::OutOfOrder { .. } }));
}

#[test]
fn deadline_and_bad_rules() {
    let rule = Rule { deadline: Duration::from_secs(300), ..Rule::default() };
    let mut settler = Settler::new(rule, Instant::START);
    for s in flow(400.0, |t| 0.0006 * t) {
        settler.push(s);
    }
    assert!(matches!(settler.state(at(399.5)), State::DeadlinePassed { because: Reason::Trend { .. } }));
    for bad in [
        Rule { window: Duration::ZERO, ..Rule::default() },
        Rule { window: Duration::MAX, ..Rule::default() },
        Rule { slope_limit: Limit::Relative(f64::NAN), ..Rule::default() },
        Rule { confidence: 1.0, ..Rule::default() },
        Rule { deadline: Duration::from_secs(60), ..Rule::default() },
    ] {
        let mut settler = Settler::new(bad, Instant::START);
        flow(200.0, |_| 0.0).into_iter().for_each(|s| settler.push(s));
        assert!(matches!(settler.state(at(199.5)), State::Faulty { because: Fault::BadRule { .. } }), "{bad:?}");
    }
}

#[test]
fn quantised_flow_is_judged_by_its_resolution() {
    let mut samples = flow(300.0, |_| 0.0);
    samples.iter_mut().for_each(|s| s.value = (s.value / 0.2).round() * 0.2);
    let rule = Rule { resolution: 0.2, ..Rule::default() };
    let mut settler = Settler::new(rule, Instant::START);
    samples.iter().for_each(|s| settler.push(*s));
    assert!(steady(&settler.state(at(299.5))));
}

#[test]
fn means_refuse_what_is_no_evidence() {
    let good = flow(120.0, |_| 0.0);
    let now = at(119.5);
    let terms = Terms { calibration_relative: 0.02, resolution: 0.1, ..Terms::default() };
    let m = mean_of(&good, now, &terms).unwrap();
    assert!((m.estimate.u_common - 0.02 * m.estimate.value).abs() < 1e-12);
    assert!(m.estimate.u_individual > 0.0 && m.estimate.u_individual < 0.1);
    assert!(m.coverage_factor >= 1.95 && (m.expanded - m.coverage_factor * m.estimate.u()).abs() < 1e-12);
    let with = |change: &dyn Fn(&mut Vec<Sample>)| {
        let mut samples = good.clone();
        change(&mut samples);
        mean_of(&samples, now, &terms)
    };
    assert!(matches!(with(&|s| s[7].value = f64::NAN), Err(Error::NotANumber { at: t }) if t == at(3.5)));
    assert!(matches!(with(&|s| s[7].at = at(90.0)), Err(Error::OutOfOrder { .. } | Error::Gap { .. })));
    assert!(matches!(with(&|s| drop(s.drain(50..60))), Err(Error::Gap { .. })));
    assert!(matches!(with(&|s| s.truncate(200)), Err(Error::Stale { .. })));
    assert!(matches!(with(&|s| s.truncate(10)), Err(Error::TooFew { have: 10, need: 20 })));
    assert!(matches!(with(&|s| s.iter_mut().for_each(|s| s.value = 40.0)), Err(Error::Stuck { .. })));
    assert!(matches!(
        with(&|s| s.iter_mut().enumerate().for_each(|(i, s)| s.value += i as f64)),
        Err(Error::TooCorrelated { .. })
    ));
    assert!(matches!(mean_of(&good, now, &Terms { coverage: 1.0, ..terms }), Err(Error::BadRule { .. })));
    assert!(matches!(mean_of(&[], now, &terms), Err(Error::TooFew { have: 0, .. })));
}

fn analyse((before, after): &(Vec<Sample>, Vec<Sample>), rule: &smoke::Rule) -> Outcome {
    smoke::analyse(before, after, &Release::by_device(at(60.0), 0.1), rule)
}

#[test]
fn two_puffs_are_two_and_the_first_is_timed() {
    let signal = smoke_signal(240.0, |t| puff(90.0, 110.0, 2.0)(t) + puff(150.0, 170.0, 3.0)(t));
    let Outcome::Response(r) = analyse(&signal, &smoke::Rule::default()) else { panic!() };
    assert_eq!(r.puffs.len(), 2);
    assert!((r.onset_s.value - 30.0).abs() < 0.5);
    let (low, high) = r.onset_interval95_s;
    assert!(low < 30.0 && 30.0 < high);
    // Half of a lag of 2 s: 1.39 s after its start.
    assert!((r.half_plateau_s.value - 31.39).abs() < 0.3, "{:?}", r.half_plateau_s);
    assert!((r.plateau.value - 2.0).abs() < 0.05 && (r.peak - 3.0).abs() < 0.1);
    assert!(r.decay_s.is_some_and(|d| d > 0.5 && d < 4.0));
}

#[test]
fn weak_short_absent_and_saturated_are_never_a_time() {
    let rule = smoke::Rule { min_rise: 0.5, ..smoke::Rule::default() };
    let weak = analyse(&smoke_signal(240.0, puff(90.0, 130.0, 0.3)), &rule);
    assert!(matches!(weak, Outcome::TooWeak { peak, needed } if peak < needed && needed == 0.5), "{weak:?}");
    let absent = analyse(&smoke_signal(240.0, |_| 0.0), &rule);
    assert!(matches!(absent, Outcome::NoRise { would_have_seen } if would_have_seen >= 0.5), "{absent:?}");
    let short = analyse(&smoke_signal(240.0, |t| if (90.0..91.0).contains(&t) { 3.0 } else { 0.0 }), &rule);
    assert!(matches!(short, Outcome::Undecided { because: Unclear::TooShort { .. } }), "{short:?}");
    let capped = smoke_signal(240.0, |t| puff(90.0, 130.0, 5.0)(t).min(3.0));
    let capped = analyse(&capped, &smoke::Rule { full_scale: 3.9, ..rule });
    let Outcome::Saturated { onset_s, since_s, .. } = capped else { panic!("{capped:?}") };
    assert!((onset_s.value - 30.0).abs() < 0.5 && since_s > 90.0 && since_s < 94.0);
}

/// Smoke that still rises when it is cut off peaks between two readings: the plateau is not the highest of them.
#[test]
fn a_peak_between_two_readings_is_not_taken_for_a_reading() {
    for i in 0..20 {
        let top = 100.0 + f64::from(i) * 0.025;
        let tent = |t: f64| 200.0 * (1.0 - (t - top).abs() / 10.0).max(0.0);
        let signal = smoke_signal(160.0, tent);
        let highest = signal.1.iter().map(|s| s.value).fold(0.0, f64::max);
        let Outcome::Response(r) = analyse(&signal, &smoke::Rule::default()) else { panic!() };
        let off = r.plateau.value - 200.0;
        assert!(off.abs() <= 2.0 * r.plateau.u(), "{off} {:?}", r.plateau);
        // A quarter of a second to the nearest reading: it is 5 lower.
        assert!(i != 10 || r.plateau.value - (highest - 1.0) > 1.0, "{:?} {highest}", r.plateau);
        let (low, high) = r.onset_interval95_s;
        let tenth = top - 60.0 - 9.0;
        assert!(low <= tenth && tenth <= high, "{tenth} {low} {high}");
    }
}

#[test]
fn rises_that_end_too_soon_come_too_early_or_are_broken_off_are_undecided() {
    let rule = smoke::Rule::default();
    let growing = smoke_signal(120.0, |t| if t > 100.0 { 0.1 * (t - 100.0) } else { 0.0 });
    assert_eq!(analyse(&growing, &rule), Outcome::Undecided { because: Unclear::EndsTooSoon });
    let early = smoke_signal(240.0, puff(61.0, 100.0, 2.0));
    let late_mark = Release { at: at(75.0), u_s: 0.2, late_min_s: 0.0, late_max_s: 0.0 };
    let outcome = smoke::analyse(&early.0, &early.1, &late_mark, &rule);
    assert!(matches!(outcome, Outcome::Undecided { because: Unclear::BeforeRelease { .. } }), "{outcome:?}");
    let restless = smoke_signal(240.0, puff(45.0, 300.0, 2.0));
    assert!(matches!(analyse(&restless, &rule), Outcome::Undecided { because: Unclear::RestlessBaseline { .. } }));
    let (mut still, rising) = smoke_signal(240.0, puff(90.0, 130.0, 2.0));
    still.iter_mut().for_each(|s| s.value = 1.0);
    let coarse: Vec<Sample> = rising.iter().map(|s| Sample { value: (s.value / 0.1).round() * 0.1, ..*s }).collect();
    let timed = analyse(&(still.clone(), coarse), &rule);
    assert!(matches!(&timed, Outcome::Response(r) if (r.onset_s.value - 30.0).abs() < 0.6), "{timed:?}");
    let dead = rising.iter().map(|s| Sample { value: 1.0, ..*s }).collect();
    let dead = analyse(&(still, dead), &rule);
    assert!(matches!(dead, Outcome::Undecided { because: Unclear::Evidence(Error::Stuck { .. }) }), "{dead:?}");
    let (before, mut after) = smoke_signal(240.0, puff(90.0, 130.0, 2.0));
    after.drain(20..30);
    assert!(matches!(
        analyse(&(before.clone(), after.clone()), &rule),
        Outcome::Undecided { because: Unclear::Evidence(Error::Gap { .. }) }
    ));
    after[3].value = f64::NAN;
    assert!(matches!(
        analyse(&(before.clone(), after), &rule),
        Outcome::Undecided { because: Unclear::Evidence(Error::NotANumber { .. }) }
    ));
    assert!(matches!(
        analyse(&(before[..10].to_vec(), vec![]), &rule),
        Outcome::Undecided { because: Unclear::Evidence(Error::TooFew { .. }) }
    ));
}

#[test]
fn a_mark_by_radio_comes_late_and_is_corrected() {
    let (before, after) = smoke_signal(240.0, puff(90.0, 130.0, 2.0));
    let time = |release: &Release| match smoke::analyse(&before, &after, release, &smoke::Rule::default()) {
        Outcome::Response(r) => r.onset_s,
        other => panic!("{other:?}"),
    };
    let (device, radio) = (time(&Release::by_device(at(60.0), 0.0)), time(&Release::by_radio(at(60.0))));
    assert!((radio.value - device.value - 1.0).abs() < 1e-9);
    assert!(radio.u() > (0.35f64 * 0.35 + 1.0 / 3.0).sqrt());
}

/// No figure that is none: huge readings, and one that is far off all others, give no mean.
#[test]
fn no_mean_is_stated_of_what_has_none() {
    let mut samples = flow(60.0, |_| 0.0);
    let now = samples[samples.len() - 1].at;
    samples[40].value = 9.9e37;
    let found = mean::mean_of(&samples, now, &mean::Terms::default());
    assert!(matches!(found, Err(Error::Outlier { at, .. }) if at == samples[40].at), "{found:?}");
    samples.iter_mut().enumerate().for_each(|(i, s)| s.value = if i % 2 == 0 { 1e308 } else { -1e308 });
    let found = mean::mean_of(&samples, now, &mean::Terms::default());
    assert!(found.is_err(), "{found:?}");
}

/// A flow that ends at zero is not steady, however few of its last readings show that.
#[test]
fn what_ends_elsewhere_is_not_steady() {
    for zeros in 1..40 {
        let mut samples = flow(300.0, |_| 0.0);
        let n = samples.len();
        samples[n - zeros..].iter_mut().for_each(|s| s.value = 0.0);
        let mut settler = Settler::new(Rule::default(), Instant::START);
        samples.iter().for_each(|s| settler.push(*s));
        settler.conclude();
        let state = settler.state(samples[n - 1].at);
        assert!(!matches!(state, State::Steady { .. }), "{zeros}: {state:?}");
    }
}

#[test]
fn runs_are_counted_or_set_aside_before_their_result() {
    let e = |v| Estimate::new(v, 0.2, 0.5);
    let mut series = Series::new();
    assert!(series.result(e(40.0)).is_err());
    for v in [40.0, 42.0] {
        series.open().unwrap();
        assert!(series.open().is_err());
        series.result(e(v)).unwrap();
        assert!(series.set_aside("it looks odd").is_err());
    }
    assert_eq!(series.pooled(None), Err(Error::TooFew { have: 2, need: 3 }));
    let b = series.pooled(Some(2.0)).unwrap();
    assert!((b.estimate.u_individual - (4.25f64 / 2.0).sqrt()).abs() < 1e-12 && b.estimate.u_common == 0.2);
    series.open().unwrap();
    assert!(series.set_aside(" ").is_err());
    series.set_aside("the ladder moved").unwrap();
    series.open().unwrap();
    assert!(series.pooled(None).is_err());
    series.result(e(41.0)).unwrap();
    let p = series.pooled(None).unwrap();
    assert_eq!((p.estimate.value, p.runs, p.sd_between), (41.0, 3, 1.0));
    assert_eq!(series.runs()[2], Run::SetAside("the ladder moved".into()));
    series.open().unwrap();
    series.no_result().unwrap();
    assert!(series.pooled(None).is_err());
    assert_eq!(pool(&[Estimate::new(1.0, 0.0, f64::NAN); 3], None), Err(Error::UnsoundEstimate));
}

/// A device clock that started 5000 s earlier and gains 80 ppm; ways of 2 to 30 ms, not alike.
fn exchange_at(t: f64, dice: &mut Dice, set_s: f64) -> Exchange {
    let device = |t: f64| ((5000.0 + set_s + t * 1.000_08) * 1e6) as u64;
    let (there, back) = (dice.scale(0.002, 0.03), dice.scale(0.002, 0.03));
    Exchange {
        sent: at(t),
        device_received_us: device(t + there),
        device_sent_us: device(t + there + 0.001),
        received: at(t + there + 0.001 + back),
    }
}

#[test]
fn clock_tie_maps_with_an_honest_uncertainty() {
    let (mut covered, mut worst) = (0, 0.0_f64);
    for seed in 0..200 {
        let mut dice = Dice::new(seed);
        let mut tie = Tie::new(clock::Rule::default());
        for i in 0..20 {
            tie.push(&exchange_at(10.0 + 30.0 * f64::from(i), &mut dice, 0.0)).unwrap();
        }
        let t = dice.between(0.0, 640.0);
        let mapped = tie.map(((5000.0 + t * 1.000_08) * 1e6) as u64).unwrap();
        let error = (mapped.at.as_secs_f64() - t).abs();
        covered += u32::from(error <= 2.0 * mapped.u_s);
        worst = worst.max(error);
        assert!(mapped.u_s < 0.01);
        let (drift, u) = tie.drift_ppm().unwrap();
        assert!((drift - 80.0).abs() < 4.0 * u, "{drift} {u}");
    }
    assert!(covered >= 190, "{covered} of 200 within two standard uncertainties");
    assert!(worst < 0.012, "{worst}");
}

#[test]
fn a_clock_jump_voids_the_tie() {
    let mut dice = Dice::new(1);
    let mut tie = Tie::new(clock::Rule::default());
    for i in 0..5 {
        tie.push(&exchange_at(30.0 * f64::from(i), &mut dice, 0.0)).unwrap();
    }
    let jumped = tie.push(&exchange_at(150.0, &mut dice, 2.0));
    assert!(matches!(jumped, Err(Error::ClockJump { by_s, .. }) if (by_s - 2.0).abs() < 0.1), "{jumped:?}");
    assert_eq!(tie.offsets().count(), 1);
    // A restarted device counts from nothing.
    assert!(matches!(tie.push(&exchange_at(180.0, &mut dice, -5000.0)), Err(Error::ClockJump { .. })));
    let m = tie.map((180.0 * 1.000_08 * 1e6) as u64).unwrap();
    assert!((m.at.as_secs_f64() - 180.0).abs() < 0.05);
    assert!(matches!(tie.map(900_000_000), Err(Error::BeyondTie { .. })));
    assert!(matches!(Tie::new(clock::Rule::default()).map(0), Err(Error::TooFew { .. })));
    let good = exchange_at(200.0, &mut dice, -5000.0);
    assert!(tie.push(&Exchange { device_sent_us: good.device_received_us - 1, ..good }).is_err());
    assert!(tie.push(&Exchange { received: good.sent - Duration::from_millis(1), ..good }).is_err());
    assert!(tie.push(&Exchange { device_sent_us: good.device_received_us + 1_000_000, ..good }).is_err());
    assert_eq!(tie.offsets().count(), 1);
}

/// No input may panic, and nothing that holds a value which is no number may be judged steady, be given a mean or timed.
#[test]
fn rubbish_is_refused_everywhere() {
    let odd = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN_POSITIVE, 0.0, -0.0, 1e300, -1e300];
    for seed in 0..300 {
        let mut dice = Dice::new(seed);
        let rate = dice.scale(0.05, 20.0);
        let tidy = dice.pick(&[true, false]);
        let strange = dice.between(0.0, 0.2);
        let mut t = 0.0;
        let samples: Vec<Sample> = (0..dice.pick(&[0, 1, 7, 40, 300]))
            .map(|_| {
                t += if tidy { 1.0 / rate } else { dice.between(-1.0, 5.0) / rate };
                let value = if dice.between(0.0, 1.0) < strange {
                    dice.pick(&odd)
                } else {
                    dice.scale(1e-3, 1e3) * dice.sign()
                };
                Sample::new(at(t.max(0.0)), value)
            })
            .collect();
        let has_rubbish = samples.iter().any(|s| !s.value.is_finite());
        let (settler, _) = follow(&samples);
        let now = samples.last().map_or(Instant::START, |s| s.at);
        assert!(!(steady(&settler.state(now)) && samples.len() < 40));
        let m = mean_of(&samples, now, &Terms { min_samples: 8, ..Terms::default() });
        assert!(m.is_err() || !has_rubbish);
        let (before, after) = samples.split_at(samples.len() / 2);
        let outcome = smoke::analyse(before, after, &Release::by_hand(now), &smoke::Rule::default());
        assert!(!has_rubbish || matches!(outcome, Outcome::Undecided { .. }));
        let (v, u, l) = (dice.pick(&odd), dice.pick(&odd), dice.pick(&odd));
        if let Ok(d) = decide(&Estimate::new(v, 0.0, u), 3.0, &Limits::at_most(l), &DecisionRule::default()) {
            assert!(v.is_finite() && u.is_finite() && l.is_finite() && !d.probability_of_conformity.is_nan());
        }
    }
}

#[test]
fn what_rises_is_not_at_rest() {
    let rule = smoke::Rule::default();
    let before = |shape: fn(f64) -> f64| -> Vec<Sample> {
        let mut dice = Dice::new(5);
        (0..300)
            .map(|i| f64::from(i) / 10.0)
            .map(|t| Sample::new(at(t), 0.01 + shape(t) + 1e-3 * dice.normal()))
            .collect()
    };
    assert!(smoke::is_at_rest(&before(|_| 0.0), &rule));
    assert!(smoke::is_at_rest(&before(|t| -1e-5 * t), &rule), "a slow drift does not hide a rise");
    assert!(!smoke::is_at_rest(&before(|t| if t > 20.0 { 5e-3 } else { 0.0 }), &rule));
    assert!(!smoke::is_at_rest(&before(|_| 0.0)[..5], &rule), "too few");
    assert!(!smoke::is_at_rest(&[], &rule));
}

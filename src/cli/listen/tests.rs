use super::*;
use crate::follow::Tally;

#[test]
fn the_summary_tells_what_was_counted() {
    let ended = Ended {
        tally: Tally {
            seconds: 61.4,
            holes: 2,
            missing: 0.123,
            delays: vec![-0.0001, 0.004, 0.005, 0.006, 0.050],
        },
        overruns: 1,
        underruns: 3,
        claps: 14,
        late: 2,
        spare: vec![0.030, 0.012, 0.040],
        cpu: Some(1.25),
    };
    let mut out = Vec::new();
    summary(&ended, &mut out).unwrap();
    assert_eq!(
        String::from_utf8(out).unwrap(),
        "listened 61 s; microphone: 1 overruns, 2 holes (123 ms); loudspeaker: 3 underruns\n\
         claps: 14 given, 2 too late, ordered 30 ms ahead (at least 12 ms)\n\
         from sound to decision: 5 ms, 95 % within 50 ms; processor time of the listener: 1.2 s\n"
    );
    let mut out = Vec::new();
    summary(&Ended::default(), &mut out).unwrap();
    assert_eq!(String::from_utf8(out).unwrap().lines().count(), 2);
}

#[test]
fn the_band_is_told_when_its_tempo_leaves_the_window() {
    let mut coach = Coach::new("112..118".parse().unwrap());
    let mut told = Vec::new();
    let mut time = 0.0;
    for beat in 0..96 {
        // Steady at 114 for 32 beats, then at 124.
        let tempo = if beat < 32 { 114.0 } else { 124.0 };
        time += 60.0 / tempo;
        let event = Event::Beat(crate::event::Beat {
            time,
            announced: time - 0.07,
            count: None,
            steps_per_minute: tempo,
            sure: 0.9,
        });
        told.extend(coach.hear(&event));
    }
    assert!((2..=3).contains(&told.len()), "{told:?}");
    assert!(told[0].contains("good"), "{told:?}");
    assert!(told[told.len() - 1].contains("slower"), "{told:?}");
}

#[test]
fn a_clipped_sample_stays_in_sight_for_two_seconds() {
    let mut clipping = Clipping::default();
    let level = |clipped| Level {
        clipped,
        ..Level::default()
    };
    assert!(!clipping.shown(&level(0), 1.0));
    assert!(clipping.shown(&level(3), 2.0));
    assert!(clipping.shown(&level(3), 3.9));
    assert!(!clipping.shown(&level(3), 4.1));
    // A new device counts anew.
    assert!(!clipping.shown(&level(0), 5.0));
    assert!(clipping.shown(&level(1), 6.0));
}

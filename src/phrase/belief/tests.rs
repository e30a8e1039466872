use super::*;

fn led_in() -> Belief {
    let mut belief = Belief::new(Form::default(), Trust::default());
    for k in 0..LEAD_IN_BEATS {
        let mut counted = [0.0; COUNTED_BEATS];
        counted[k] = 0.98;
        belief.advance(counted);
    }
    belief
}

#[test]
fn a_count_in_doubt_may_be_a_beat_wrong_and_is_not_the_beginnings_any_more() {
    let mut belief = led_in();
    let (count, before) = belief.count();
    assert!(belief.counted() && before > 0.9);
    belief.doubt(0.6);
    let near = |count: u8| {
        let places = belief.places().iter().enumerate();
        let of = places.filter(|(place, _)| place % 8 == usize::from(count - 1));
        of.map(|(_, p)| p).sum::<f32>()
    };
    assert!((near(count) - 0.4).abs() < 0.05, "{}", near(count));
    assert!((near(count % 8 + 1) - 0.3).abs() < 0.05);
    assert!((near((count + 6) % 8 + 1) - 0.3).abs() < 0.05);
    assert!(!belief.counted());
}

#[test]
fn after_four_lead_in_beats_comes_one() {
    let mut belief = led_in();
    let (count, sure) = belief.count();
    assert_eq!((count, belief.likeliest().beat), (1, 0));
    assert!(sure > 0.9, "{sure}");
    for beat in 1..200 {
        belief.advance([0.0; COUNTED_BEATS]);
        assert_eq!(belief.likeliest().beat, beat % 64);
    }
}

#[test]
fn a_beginning_can_be_mended_while_it_is_counted() {
    let mut belief = Belief::new(Form::default(), Trust::default());
    // Taken for the lead-in's second beat, then heard to be the tune's second.
    let mut counted = [0.0; COUNTED_BEATS];
    (counted[0], counted[LEAD_IN_BEATS]) = (0.7, 0.2);
    belief.advance(counted);
    assert!(belief.leading_in() > 0.5);
    let mut counted = [0.0; COUNTED_BEATS];
    (counted[1], counted[LEAD_IN_BEATS + 1]) = (0.05, 0.9);
    belief.advance(counted);
    assert!(belief.leading_in() < 0.1);
    assert_eq!(belief.likeliest().beat, 2);
}

#[test]
fn beats_that_went_by_unheard_are_counted_by_the_clock() {
    let mut belief = led_in();
    belief.pass(0.1);
    assert_eq!(belief.likeliest().beat, 0);
    belief.pass(2.9);
    assert_eq!(belief.likeliest().beat, 3);
    let (_, sure) = belief.count();
    // Three and a half: three or four.
    belief.pass(3.5);
    assert!(belief.count().1 < 0.6 * sure);
    assert!([6, 7].contains(&belief.likeliest().beat));
}

/// A belief that stands on beat 34, before a pause of `beats` into which two of them fell.
fn paused(beats: f64) -> Belief {
    let mut belief = led_in();
    for _ in 0..34 {
        belief.advance([0.0; COUNTED_BEATS]);
    }
    belief.pause(beats, 2);
    belief.advance([0.0; COUNTED_BEATS]);
    belief
}

#[test]
fn after_a_pause_off_the_beat_the_tune_goes_on_where_it_stopped() {
    let belief = paused(4.4);
    let places = belief.places();
    // Beats 33 and 34 were not played, or one less or more.
    for (stood, often) in [(33, 0.6), (32, 0.2), (34, 0.2)] {
        assert!((places[stood] - often).abs() < 0.03, "{stood}: {places:?}");
    }
    assert!(places[39] < 0.01, "{places:?}");
}

#[test]
fn after_a_pause_on_the_beat_it_may_have_gone_on_unheard() {
    let belief = paused(4.0);
    let places = belief.places();
    assert!((places[39] - 0.73).abs() < 0.03, "{places:?}");
    assert!((places[33] - 0.6 * 0.27).abs() < 0.03, "{places:?}");
}

#[test]
fn a_slip_that_is_told_moves_the_count() {
    let mut belief = led_in();
    let (count, sure) = belief.count();
    belief.slipped(-2, 0.9);
    let (moved, now_sure) = belief.count();
    assert_eq!((i16::from(count) - i16::from(moved)).rem_euclid(8), 2);
    assert!((now_sure - 0.9 * sure).abs() < 0.01);
}

#[test]
fn places_are_weighed_as_they_were_a_beat_before() {
    let mut belief = Belief::new(Form::default(), Trust::default());
    belief.weigh_places((0..64).map(|place| if place == 63 { 5.0 } else { 0.0 }));
    assert_eq!(belief.likeliest().beat, 0);
    assert!((belief.places()[0] - 5f32.exp() / (63.0 + 5f32.exp())).abs() < 1e-4);
}

#[test]
fn a_dropped_bar_is_found_sooner_than_any_other_place() {
    let mut belief = led_in();
    belief.say_one(0);
    belief.advance([0.0; COUNTED_BEATS]);
    let places = belief.places();
    for near in [3, 63, 2, 0, 5, 61] {
        assert!(places[near] > 3.0 * places[20], "{near}");
    }
    assert!(places[1] > 0.9);
}

#[test]
fn without_evidence_nothing_is_sure() {
    let mut belief = Belief::new(Form::default(), Trust::default());
    for _ in 0..100 {
        belief.advance([0.0; COUNTED_BEATS]);
    }
    assert!(belief.count().1 < 0.2);
}

#[test]
fn ones_that_sound_like_ones_are_found() {
    let trust = Trust {
        one_weight: 0.5,
        ..Trust::default()
    };
    let mut belief = Belief::new(Form::default(), trust);
    for beat in 0..64u32 {
        let one = if beat % 8 == 3 { 0.6 } else { 0.05 };
        belief.hear(Evidence {
            one,
            part: 1.0 / 16.0,
        });
        belief.advance([0.0; COUNTED_BEATS]);
    }
    // The next beat is number 64: five after the last of its kind (59).
    let (count, sure) = belief.count();
    assert_eq!(count, 6);
    assert!(sure > 0.95, "{sure}");
}

#[test]
fn the_caller_is_believed_at_once_and_the_part_is_kept() {
    let mut belief = led_in();
    for _ in 0..18 {
        belief.advance([0.0; COUNTED_BEATS]);
    }
    assert_eq!(belief.likeliest().beat, 18);
    belief.say_one(0);
    assert_eq!(belief.likeliest().beat, 16);
    assert!(belief.count().1 > 0.99);
    belief.say_one(1);
    assert_eq!(belief.likeliest().beat, 17);
    belief.move_count(-2);
    assert_eq!(belief.likeliest().beat, 15);
    belief.move_count(1);
    assert_eq!((belief.likeliest().beat, belief.count().0), (16, 1));
}

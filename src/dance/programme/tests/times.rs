//! How long an evening takes, and how it is followed.

use super::*;

#[test]
fn an_evening_takes_lining_up_walking_through_beats_and_breaks() {
    let items = dance(RING, "times = 8\nwalk = 4\nsteps_per_minute = 120")
        + TEA
        + &dance(LANTERNS, "times = 9\nwalk = 5")
        + "[[item]]\nother = \"Waltz\"\nminutes = 3.5\n";
    let programme = of("start = \"23:30\"\nchangeover = 1.5", &items).unwrap();
    let slots = programme.slots();
    // (8 × 64 + 4) beats at 120 a minute; nobody lines up before the first.
    assert_eq!(slots[0].changeover, 0.0);
    assert_eq!(slots[0].minutes(), 4.0 + 516.0 / 120.0);
    // Breaks need no lining up; dances and others do.
    assert_eq!(slots[1].minutes(), 15.0);
    assert_eq!(slots[2].minutes(), 1.5 + 5.0 + 580.0 / 116.0);
    assert_eq!(slots[3].minutes(), 1.5 + 3.5);
    assert!((programme.minutes() - slots[3].end()).abs() < 1e-12);
    // Past midnight the clock begins anew.
    let clock = |at: usize| programme.clock(slots[at].start).unwrap().to_string();
    assert_eq!([clock(0), clock(2)], ["23:30", "23:53"]);
    assert_eq!(programme.clock(40.0).unwrap().to_string(), "0:10");
}

#[test]
fn minutes_of_music_become_whole_times_through() {
    let times = |minutes: f64| {
        let items = dance(
            RING,
            &format!("minutes = {minutes}\nsteps_per_minute = 110"),
        );
        of("", &items).unwrap().items()[0].dance().unwrap().times
    };
    // Once through and the lead-in takes 68 beats, 37 seconds at 110.
    assert_eq!([0.0, 0.1, 1.2, 7.0, 8.0].map(times), [1, 1, 2, 12, 14]);
}

#[test]
fn a_dance_without_a_tempo_of_its_own_takes_the_cards() {
    let programme = of("", &dance(LANTERNS, "times = 1")).unwrap();
    assert_eq!(
        programme.items()[0].dance().unwrap().steps_per_minute,
        116.0
    );
    assert_eq!(programme.items()[0].tunes, ["reel"], "and its kind of tune");
}

#[test]
fn an_evening_is_followed_by_its_plan_and_its_clock() {
    let items = dance(RING, "times = 8\nwalk = 4\nsteps_per_minute = 120") + TEA;
    let programme = of("start = \"19:30\"", &items).unwrap();
    // It begins five minutes late, after a hundred seconds of waiting.
    let mut evening = Evening::new(programme, 0, 100.0, Clock::parse("19:35"));
    let standing = evening.standing(160.0);
    assert_eq!((standing.elapsed, standing.planned), (60.0, 498.0));
    assert_eq!((standing.left, standing.to_end), (438.0, 438.0 + 900.0));
    assert_eq!(standing.clock.unwrap().to_string(), "19:36");
    assert_eq!(standing.behind, Some(5.0));
    // Two minutes over: that much further behind.
    let standing = evening.standing(100.0 + 498.0 + 120.0);
    assert_eq!((standing.left, standing.behind), (-120.0, Some(7.0)));
    assert_eq!(standing.to_end, 900.0);

    assert!(evening.go_on(718.0));
    assert_eq!((evening.item().0, evening.item().1.title()), (2, "Tea"));
    let standing = evening.standing(718.0);
    assert!((standing.behind.unwrap() - 7.0).abs() < 1e-9);
    assert!(!evening.go_on(719.0), "there is no third");
    assert!(evening.go_back(720.0) && !evening.go_back(721.0));
    assert_eq!(evening.standing(725.0).elapsed, 5.0);
    assert!(evening.next_item().is_some());
}

#[test]
fn an_evening_before_midnight_may_start_after_it() {
    let programme = of("start = \"0:10\"", TEA).unwrap();
    let evening = Evening::new(programme, 7, 0.0, Clock::parse("23:58"));
    assert_eq!(evening.standing(0.0).behind, Some(-12.0));
}

#[test]
fn times_of_day_are_read_strictly() {
    for (text, shown) in [("0:00", "0:00"), ("9:05", "9:05"), (" 23:59 ", "23:59")] {
        assert_eq!(Clock::parse(text).unwrap().to_string(), shown);
    }
    for bad in [
        "", "9", "9:5", "24:00", "9:60", "-1:00", "1:+3", "a:bc", "19:30:00", "1 9:00",
    ] {
        assert_eq!(Clock::parse(bad), None, "{bad}");
    }
}

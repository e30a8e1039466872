//! What becomes of calls when count, tempo or plan change.

use proptest::prelude::*;

use super::*;

#[test]
fn the_key_for_the_end_is_heeded_at_once() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(0, 0, None));
    let press = |dance: &mut Dance, times| {
        let mut sayings = Vec::new();
        let now = dance.time - 0.1;
        dance.prompter.set_times(times, now, &mut sayings);
        dance.obey(sayings);
    };
    dance.until(50);
    press(&mut dance, Some(2));
    dance.until(53);
    // It is being said when the caller changes her mind.
    press(&mut dance, Some(3));
    dance.until(60);
    let heard = dance.heard();
    assert_eq!(heard.len(), 2, "{heard:?}");
    assert_eq!((heard[0].0, heard[1].0), (LAST_TIME, TWO_MORE));
    assert!(heard[0].2 < heard[1].1, "the first is stopped: {heard:?}");
    assert!(heard[1].1 <= 55.0);
    press(&mut dance, None);
    assert_eq!(dance.until(130).heard().len(), 2);
}

#[test]
fn two_quick_presses_tell_the_band_only_what_the_second_asks_for() {
    for apart in [0.1, 0.3, 0.5] {
        let mut dance = Dance::new(script(DANCE, lengths), manner(0, 0, None));
        dance.until(50);
        let mut sayings = Vec::new();
        let first = dance.time - 0.1;
        dance.prompter.set_times(Some(2), first, &mut sayings);
        if apart > 0.1 {
            dance.until(51);
        }
        let second = first + apart;
        dance.prompter.set_times(Some(3), second, &mut sayings);
        dance.obey(sayings);
        dance.until(60);
        let words: Vec<&str> = dance.heard().iter().map(|heard| heard.0).collect();
        assert_eq!(words, [TWO_MORE], "{apart} s apart");
    }
}

#[test]
fn a_wrong_call_stops_at_once_and_the_right_one_follows() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(7);
    // "call b" sounds since beat 5; the caller moves the count back by two, so that
    // "b" is two beats further off, then on by twelve.
    dance.number -= 2;
    dance.until(6);
    assert_eq!(dance.heard(), [("call b", 5.0, 7.6)], "it still comes next");
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(7);
    dance.number += 3;
    dance.until(17);
    let heard = dance.heard();
    assert_eq!(heard[0], ("call b", 5.0, 6.86), "stopped when it was known");
    // On beat 10 of the dance, the eighth that is heard; "c" starts at 16.
    assert_eq!(heard[1], ("call c", 10.0, 12.6));
    assert_eq!(heard.len(), 2);
}

#[test]
fn a_stopped_call_is_said_again_when_its_figure_comes() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(6);
    dance.number += 3;
    dance.until(10);
    dance.number -= 3;
    dance.until(9);
    let words: Vec<&str> = dance.heard().iter().map(|h| h.0).collect();
    assert_eq!(words, ["call b", "b"], "what room there is");
}

#[test]
fn a_faster_band_cuts_a_call_off_at_its_figure() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(6);
    dance.period = 0.40;
    dance.time -= 0.1;
    dance.until(9);
    let (_, _, from, to) = dance.heard[0];
    let figure = dance.time - dance.period;
    assert!(
        (to - figure).abs() < 1e-9 && from < to,
        "{from} {to} {figure}"
    );
}

#[test]
fn doubt_lets_a_call_end_and_takes_back_what_has_not_begun() {
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(5);
    // Planned for the very next beat.
    assert_eq!(dance.heard(), [("call b", 5.0, 7.6)]);
    dance.beat(false);
    assert_eq!(dance.heard(), []);
    let mut dance = Dance::new(script(DANCE, lengths), manner(9, 0, None));
    dance.until(6);
    for _ in 0..4 {
        dance.beat(false);
    }
    assert_eq!(dance.heard(), [("call b", 5.0, 7.6)]);
}

#[test]
fn tempi_that_are_no_numbers_are_passed_over() {
    let mut dance = Dance::new(script(LANTERNS_ON_THE_WEIR, lengths), manner(9, 0, None));
    for period in [f64::INFINITY, -1.0, f64::NAN] {
        dance.period = period;
        dance.time = 10.0;
        dance.beat(true);
        assert!(dance.heard.is_empty());
    }
}

proptest! {
    /// The same events make the same calls, and a listener that is asked for nothing
    /// in between hears the same as one that is hushed and listens again.
    #[test]
    fn a_tune_is_called_alike_every_time(
        seed in any::<u64>(), tempo in 0.42..0.6f64, full in 0u32..4, short in 0u32..4,
    ) {
        let heard = |hushed: bool| {
            let plan = manner(full, short, Some(4));
            let mut dance = Dance::new(script(DANCE, lengths), plan);
            dance.period = tempo;
            for n in 0..200 {
                let known = (seed >> (n % 64)) & 15 != 0;
                dance.beat(known);
                if hushed && n == 100 {
                    let mut sayings = Vec::new();
                    let now = dance.time - dance.period - 0.06;
                    dance.prompter.hush(now, &mut sayings);
                    dance.obey(sayings);
                }
            }
            dance.heard
        };
        let once = heard(false);
        prop_assert_eq!(&once, &heard(false));
        let before = |heard: &[(u64, String, f64, f64)]| {
            let end = 10.0 + 98.0 * tempo;
            heard.iter().filter(|h| h.3 < end).count()
        };
        prop_assert_eq!(before(&once), before(&heard(true)));
        for pair in once.windows(2) {
            prop_assert!(pair[0].3 < pair[1].2, "{:?}", pair);
        }
    }

    /// Whatever the count is moved by: from the next beat on every call that begins
    /// belongs to the figure that comes next, and is over by then; one that had begun is
    /// over by that beat if it does not.
    #[test]
    fn after_a_move_of_the_count_the_right_figure_is_called(
        at in 4i64..60, by in prop::sample::select(vec![-3i64, -2, -1, 1, 2, 3]),
        tempo in 0.42..0.6f64, jump in 0.9..1.1f64,
    ) {
        let script = script(DANCE, lengths);
        let mut dance = Dance::new(script.clone(), manner(9, 0, None));
        dance.period = tempo;
        dance.until(at);
        let moved = dance.time - 0.07;
        dance.number += by;
        dance.period *= jump;
        let (time, number, period) = (dance.time, dance.number, dance.period);
        dance.until(at + 40);
        let at = |n: i64| time + (n - number) as f64 * period;
        for (_, words, from, to) in dance.heard.iter().filter(|h| h.3 > moved + 1e-9) {
            if *from < moved && *to <= time + 1e-6 {
                continue;
            }
            // The beat on which it begins, or that was sounding at the move.
            let on = number + ((from.max(moved + 0.07) - time) / period).round() as i64;
            let (start, prompt) = script.next_after(on, None).unwrap();
            let named = [&prompt.full, &prompt.short];
            let named = named.into_iter().flatten().any(|l| *l.words == **words);
            prop_assert!(named, "{} on {}", words, on);
            prop_assert!(*to <= at(start) + 1e-6, "{} late", words);
        }
    }
}

//! Calls on the loudspeaker's clock.

use super::*;

#[test]
fn calls_are_over_before_their_figures_though_clocks_drift_and_sound_is_lost() {
    let (sound, phrases) = tune();
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("bundled");
    let mut hall = Hall::new(sound, 0.0);
    hall.live.call(&calling(&card));
    let mut errors = Vec::new();
    let mut until = |hall: &mut Hall, end: f64| {
        hall.until(end);
        for (words, begins, seconds) in hall.calls.split_off(0) {
            // The next figure, as the microphone hears it.
            let starts = card.figures().iter().map(|figure| {
                let beat = figure.start_beat as usize;
                let phrase = phrases[beat / 8] + 0.5 * (beat % 8) as f64;
                (figure, hall.heard(phrase))
            });
            let mut after = starts.filter(|(_, start)| *start > begins + 0.1);
            let Some((figure, start)) = after.next() else {
                // It is for the next time through, which the band does not play.
                continue;
            };
            let right = figure.call == words || figure.short.as_ref() == Some(&words);
            assert!(right, "\"{words}\" before \"{}\"", figure.call);
            let beats = ((start - begins) / 0.5).round();
            assert!(start - begins < 4.2, "{words}");
            errors.push((start - begins - 0.5 * beats, begins + seconds - start));
        }
    };
    until(&mut hall, 14.0);
    hall.hole(0.07);
    until(&mut hall, 22.0);
    hall.speaker.hole(0.09);
    until(&mut hall, 38.0);
    println!("{errors:.3?}");
    // All but the first, for which a lead-in leaves no time.
    assert!(errors.len() >= card.figures().len() - 2, "{errors:?}");
    for (off, late) in &errors {
        assert!(off.abs() < 0.045, "begins {off:.3} s beside its beat");
        assert!(*late < 0.04, "ends {late:.3} s late");
    }
    assert!(hall.claps.len() >= 8, "claps as before: {:?}", hall.claps);
}

#[test]
fn a_voice_that_is_turned_off_takes_back_and_stops() {
    let (sound, phrases) = tune();
    let card = Card::parse(LANTERNS_ON_THE_WEIR, "card").expect("bundled");
    let mut hall = Hall::new(sound, 0.0);
    hall.live.call(&calling(&card));
    // "robins do-si-do, once and a half" takes 1.6 s.
    hall.until(phrases[2] - 1.0);
    let before = hall.calls.len();
    assert!(before > 0 && hall.stopped.is_empty(), "{:?}", hall.calls);
    hall.live.set_voice(false);
    hall.until(phrases[3]);
    assert_eq!(hall.calls.len(), before);
    assert!(!hall.stopped.is_empty(), "the one that sounded is cut off");
    hall.live.set_voice(true);
    hall.until(phrases[5]);
    assert!(hall.calls.len() > before);
    // Held against no tune at all: the introduction.
    let text = format!("{LANTERNS_ON_THE_WEIR}\n[intro]\nsay = [\"one\", \"two\"]\n");
    let card = Card::parse(&text, "card").expect("good");
    let mut hall = Hall::new(vec![0.0; 10 * 48_000], 0.0);
    hall.live.call(&calling(&card));
    hall.until(2.0);
    let now = hall.mic.true_time(hall.mic.count as f64);
    hall.live.introduce(now + 0.2);
    hall.until(5.0);
    let words: Vec<&str> = hall.calls.iter().map(|call| call.0.as_str()).collect();
    assert_eq!(words, ["one", "two"]);
    let apart = hall.calls[1].1 - hall.calls[0].1;
    assert!((apart - 0.65).abs() < 0.01, "{apart}");
}

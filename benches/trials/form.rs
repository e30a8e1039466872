//! A tune of another form than the engine was told.

use eightclap::engine::Settings;
use eightclap::phrase::Form;
use eightclap::report::accuracy::{Figures, Summary};

use super::Bench;
use super::change::Take;

/// Beats a time through, as played and as told.
const FORMS: [(u32, u32); 9] = [
    (64, 64),
    (48, 48),
    (32, 32),
    (64, 48),
    (64, 32),
    (48, 64),
    (48, 32),
    (32, 64),
    (32, 48),
];

/// Prints the table, with the lead-in and for tunes that begin in their middle: beats a time through of the tune, and as told.
pub fn print(bench: &Bench) -> anyhow::Result<()> {
    if !bench.wants("form") {
        return Ok(());
    }
    println!(
        "\nthe tune has another form than was told; among right claps: parts named\n\
         wrong while sure of the form, and not named for want of that; doubted: recordings\n\
         whose form was doubted, and after how many beats (median)\n\
         {:24} {:>5} {:>13} {:>10} {:>12} {:>10} {:>10} {:>8}",
        "", "items", "wrong claps/m", "phrases", "wrong names", "no name", "doubted", "beats"
    );
    for (led, (played, told)) in [true, false]
        .into_iter()
        .flat_map(|led| FORMS.map(|f| (led, f)))
    {
        let settings = Settings {
            form: Form::new(told)?,
            ..Settings::default()
        };
        let figures = bench.each(|mut take, dice| {
            match played {
                48 => take = take.without_second_a(),
                32 => take = take.with_parts_in_turn(),
                _ => {}
            }
            if !led {
                take = take.starting_at(dice.between(8.0, 48.0) as usize);
            }
            hear(bench, &take, settings)
        })?;
        let name = match led {
            true => format!("{played} beats, told {told}"),
            false => format!("mid-tune: {played}, told {told}"),
        };
        row(bench, &name, &figures);
    }
    let figures = bench.each_pair(|take, next| {
        let medley = take.then(&next);
        hear(bench, &medley, Settings::default())
    })?;
    row(bench, "64, then another tune", &figures);
    Ok(())
}

fn hear(bench: &Bench, take: &Take, settings: Settings) -> anyhow::Result<Figures> {
    let events = bench.ears().hear(take.rate, &take.samples, settings)?;
    Ok(Figures::of(&take.truth, &events, take.seconds()))
}

fn row(bench: &Bench, name: &str, figures: &[Figures]) {
    if bench.lines() {
        for (item, f) in bench.names().zip(figures) {
            println!(
                "  {item:34} phrases {}/{} wrong {} wrong names {} no name {}",
                f.phrases_right, f.phrases, f.false_claps, f.wrong_parts, f.unnamed_parts
            );
        }
    }
    let all: Vec<&Figures> = figures.iter().collect();
    if let Some(all) = Summary::of(&all) {
        println!(
            "{name:24} {:5} {:13.2} {:8.1} % {:10.1} % {:8.1} % {:8.1} % {:8.0}",
            all.items,
            all.false_a_minute,
            100.0 * all.phrases,
            100.0 * all.wrong_parts,
            100.0 * all.unnamed_parts,
            100.0 * all.doubted,
            all.beats_to_doubt,
        );
    }
}

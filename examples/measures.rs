//! Beat measures on standard input and output, for comparing them with other
//! implementations.
//!
//! Reads JSON objects, one a line, `{"truth": [...], "announced": [...]}` with
//! ascending times in seconds, and prints for each the measures of
//! `eightclap::report::measures` as a JSON object, in full precision:
//! `cargo run --example measures < lists.jsonl`.

use std::io::{self, BufWriter, Write};

use anyhow::{Context, ensure};
use eightclap::report::measures::{HIT_WINDOW, continuity, f_measure};
use serde::{Deserialize, Serialize};

#[derive(Deserialize)]
struct Lists {
    truth: Vec<f64>,
    announced: Vec<f64>,
}

/// The measures under the names that the literature gives them.
#[derive(Serialize)]
#[allow(non_snake_case)]
struct Measures {
    F: f64,
    CMLc: f64,
    CMLt: f64,
    AMLc: f64,
    AMLt: f64,
}

fn main() -> anyhow::Result<()> {
    let mut out = BufWriter::new(io::stdout().lock());
    for (number, line) in (1..).zip(io::stdin().lines()) {
        let lists: Lists =
            serde_json::from_str(&line?).with_context(|| format!("line {number}"))?;
        for times in [&lists.truth, &lists.announced] {
            ensure!(
                times.is_sorted(),
                "line {number}: the times are not ascending; sort them first"
            );
        }
        let all = continuity(&lists.truth, &lists.announced);
        let measures = Measures {
            F: f_measure(&lists.truth, &lists.announced, HIT_WINDOW),
            CMLc: all.cml_c,
            CMLt: all.cml_t,
            AMLc: all.aml_c,
            AMLt: all.aml_t,
        };
        serde_json::to_writer(&mut out, &measures)?;
        writeln!(out)?;
    }
    Ok(out.flush()?)
}

//! Runs a speech engine, with an end to its patience.

use std::io::{Read, Write};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::machine::{Engine, Order};
use crate::sound::file::load_mono;

/// Longest that an engine may take for one call. A call of ten words takes
/// espeak-ng some tens of milliseconds; PowerShell starts in some seconds.
const PATIENCE: Duration = Duration::from_secs(20);

/// Why an engine did not speak.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EngineError {
    /// It is not on this machine.
    #[error("the speech engine {name} is not on this machine; {remedy}", name = .0.name(), remedy = .0.remedy())]
    NotThere(Engine),
    /// It took too long.
    #[error("the speech engine {name} did not answer within {seconds} s; try it by hand, or record the words with `eightclap voice record`", name = .0.name(), seconds = .1.as_secs())]
    TooSlow(Engine, Duration),
    /// It failed or wrote nothing that can be heard: why.
    #[error("the speech engine {name} failed ({1}); try it by hand, or record the words with `eightclap voice record`", name = .0.name())]
    Failed(Engine, String),
}

/// Lets `engine` speak `words`: samples a second, and mono samples.
pub(super) fn speak(engine: Engine, words: &str) -> Result<(u32, Vec<f32>), EngineError> {
    let failed = |why: &dyn std::fmt::Display| EngineError::Failed(engine, why.to_string());
    let folder = tempfile::tempdir().map_err(|e| failed(&e))?;
    let to = folder.path().join("words.wav");
    run(engine, &engine.order(words, &to), PATIENCE)?;
    load_mono(&to).map_err(|e| failed(&e))
}

/// Whether `engine` is on this machine and speaks.
pub(super) fn works(engine: Engine) -> Result<(), EngineError> {
    speak(engine, "one").map(|_| ())
}

fn run(engine: Engine, order: &Order, patience: Duration) -> Result<(), EngineError> {
    let failed = |why: &dyn std::fmt::Display| EngineError::Failed(engine, why.to_string());
    let mut child = Command::new(order.program)
        .args(&order.arguments)
        .envs(order.environment.iter().map(|(name, value)| (name, value)))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => EngineError::NotThere(engine),
            _ => failed(&error),
        })?;
    if let Some(mut input) = child.stdin.take() {
        // An engine that reads nothing may have closed it.
        let _ = input.write_all(order.input.as_bytes());
    }
    let begun = Instant::now();
    let status = loop {
        match child.try_wait() {
            Ok(Some(status)) => break status,
            Ok(None) if begun.elapsed() > patience => {
                end(&mut child);
                return Err(EngineError::TooSlow(engine, patience));
            }
            Ok(None) => std::thread::sleep(Duration::from_millis(5)),
            Err(error) => {
                end(&mut child);
                return Err(failed(&error));
            }
        }
    };
    if status.success() {
        return Ok(());
    }
    let mut said = String::new();
    if let Some(errors) = &mut child.stderr {
        let _ = errors.take(2_000).read_to_string(&mut said);
    }
    match said.lines().map(str::trim).find(|line| !line.is_empty()) {
        Some(line) => Err(failed(&line)),
        None => Err(failed(&status)),
    }
}

fn end(child: &mut Child) {
    let _ = child.kill();
    let _ = child.wait();
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    fn shell(script: &str) -> Order {
        Order {
            program: "sh",
            arguments: vec!["-c".into(), script.into()],
            environment: vec![("EIGHTCLAP_WORDS", "one two".into())],
            input: "three four".into(),
        }
    }

    #[test]
    fn an_engine_gets_its_input_and_environment() {
        let script = "test \"$EIGHTCLAP_WORDS $(cat)\" = 'one two three four'";
        let done = run(Engine::Say, &shell(script), PATIENCE);
        assert_eq!(done, Ok(()));
    }

    #[test]
    fn one_that_hangs_is_ended() {
        let patience = Duration::from_millis(150);
        let begun = Instant::now();
        let done = run(Engine::EspeakNg, &shell("exec sleep 30"), patience);
        assert_eq!(done, Err(EngineError::TooSlow(Engine::EspeakNg, patience)));
        assert!(begun.elapsed() < Duration::from_secs(5));
    }

    #[test]
    fn what_it_complains_of_is_told() {
        let done = run(
            Engine::EspeakNg,
            &shell("echo 'no voice en-us' >&2; exit 3"),
            PATIENCE,
        );
        let told = done.unwrap_err().to_string();
        assert!(told.contains("(no voice en-us)"), "{told}");
        let done = run(Engine::EspeakNg, &shell("exit 3"), PATIENCE);
        assert!(done.unwrap_err().to_string().contains('3'));
    }

    #[test]
    fn one_that_is_not_there_is_said_so_with_the_remedy() {
        let mut order = shell("");
        order.program = "eightclap-no-such-engine";
        let done = run(Engine::EspeakNg, &order, PATIENCE);
        let told = done.unwrap_err().to_string();
        assert!(told.contains("espeak-ng is not on this machine"), "{told}");
        assert!(told.contains("install"), "{told}");
    }
}

//! Every package that the program is made of may be shipped in a program under MIT or
//! Apache 2.0, and comes from crates.io. `.ci/deny.toml` holds `cargo deny` to the same list,
//! and has what this cannot look up: advisories.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;
use spdx::{Expression, LicenseReq, ParseMode};

/// The two lists in `.ci/deny.toml`: licences for all, and for single packages.
fn allowed() -> (BTreeSet<String>, BTreeMap<String, String>) {
    let text = std::fs::read_to_string(".ci/deny.toml").expect("a file of the repository");
    let deny: toml::Value = toml::from_str(&text).expect("TOML");
    let words = |value: &toml::Value| -> Vec<String> {
        let list = value.as_array().expect("a list").iter();
        list.map(|word| word.as_str().expect("a word").to_owned())
            .collect()
    };
    let licences = &deny["licenses"];
    let all = words(&licences["allow"]).into_iter().collect();
    let single = licences["exceptions"].as_array().expect("a list").iter();
    let single = single.flat_map(|of| {
        let name = of["crate"].as_str().expect("a name").to_owned();
        let more = words(&of["allow"]).into_iter();
        more.map(move |licence| (name.clone(), licence))
    });
    (all, single.collect())
}

/// What cargo knows of the packages, for all systems if their manifests are on this
/// machine, else for this one.
fn metadata() -> Value {
    let ask = |more: &[&str]| {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let usual = ["metadata", "--offline", "--locked", "--format-version", "1"];
        let done = Command::new(cargo).args(usual).args(more).output();
        let done = done.expect("cargo");
        match done.status.success() {
            true => Ok(serde_json::from_slice(&done.stdout).expect("JSON")),
            false => Err(String::from_utf8_lossy(&done.stderr).into_owned()),
        }
    };
    ask(&[]).unwrap_or_else(|why| {
        println!(
            "packages of other systems are not on this machine: {}",
            why.trim()
        );
        let target = format!("{}-unknown-linux-gnu", std::env::consts::ARCH);
        let target = match std::env::consts::OS {
            "macos" => format!("{}-apple-darwin", std::env::consts::ARCH),
            "windows" => format!("{}-pc-windows-msvc", std::env::consts::ARCH),
            _ => target,
        };
        ask(&["--filter-platform", &target]).expect("metadata")
    })
}

/// Packages below the program's own, by id; with what only its tests and build need, or
/// without.
fn reached(metadata: &Value, with_tests: bool) -> BTreeSet<String> {
    let nodes = metadata["resolve"]["nodes"].as_array().expect("nodes");
    let of = |id: &str| nodes.iter().find(|node| node["id"] == id);
    let root = metadata["resolve"]["root"].as_str().expect("a root");
    let (mut open, mut seen) = (vec![root.to_owned()], BTreeSet::new());
    while let Some(id) = open.pop() {
        let deps = of(&id).and_then(|node| node["deps"].as_array());
        for dep in deps.into_iter().flatten() {
            let kinds = dep["dep_kinds"].as_array().expect("kinds");
            let counts = |kind: &Value| with_tests || kind["kind"].is_null();
            let id = dep["pkg"].as_str().expect("an id").to_owned();
            if kinds.iter().any(counts) && seen.insert(id.clone()) {
                open.push(id);
            }
        }
    }
    seen
}

#[test]
fn licences_are_on_the_list_and_packages_from_one_place() {
    let (allowed, single) = allowed();
    let metadata = metadata();
    let shipped = reached(&metadata, false);
    let all = reached(&metadata, true);
    let (mut wrong, mut counted, mut used) = (Vec::new(), BTreeMap::new(), BTreeSet::new());
    for package in metadata["packages"].as_array().expect("packages") {
        let id = package["id"].as_str().expect("an id");
        if !all.contains(id) {
            continue;
        }
        let name = package["name"].as_str().expect("a name");
        let text = package["license"].as_str().unwrap_or_default();
        // Old packages write "MIT/Apache-2.0".
        let read = Expression::parse_mode(text, ParseMode::LAX);
        let named = |need: &LicenseReq| {
            let one = need.to_string();
            let own = single.get(name).is_some_and(|licence| *licence == one);
            used.extend(own.then(|| name.to_owned()));
            own || allowed.contains(&one)
        };
        let mut named = named;
        if !read.is_ok_and(|read| read.evaluate(|need| named(need))) {
            wrong.push(format!("{name}: {text:?}"));
        }
        let from = "registry+https://github.com/rust-lang/crates.io-index";
        if package["source"] != from {
            wrong.push(format!("{name}: from {}", package["source"]));
        }
        if shipped.contains(id) {
            *counted.entry(text.to_owned()).or_insert(0) += 1;
        }
    }
    println!("{} packages, {} of them shipped:", all.len(), shipped.len());
    for (text, count) in &counted {
        println!("{count:4}  {text}");
    }
    assert!(shipped.len() > 50 && all.len() > shipped.len());
    assert!(
        wrong.is_empty(),
        "not on the list in .ci/deny.toml: {wrong:#?}"
    );
    let idle: Vec<_> = single.keys().filter(|name| !used.contains(*name)).collect();
    println!("exceptions that this system does not need: {idle:?}");
}

#[test]
fn what_is_not_on_the_list_is_found() {
    let (allowed, _) = allowed();
    let fits = |text: &str| {
        let read = Expression::parse_mode(text, ParseMode::LAX).expect("an expression");
        read.evaluate(|need| allowed.contains(&need.to_string()))
    };
    assert!(fits("MIT/Apache-2.0") && fits("GPL-3.0-only OR MIT"));
    assert!(!fits("GPL-3.0-only") && !fits("MIT AND AGPL-3.0-only"));
}

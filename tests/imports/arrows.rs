//! Arrows between the modules of a crate, and the circles that they make.

use std::collections::{BTreeMap, BTreeSet};

use crate::modules::{Crate, Named, Path};

/// Arrows from file to file, each with a path that makes it.
pub(crate) type Arrows = BTreeMap<String, BTreeMap<String, String>>;

/// Paths that lead from sign to sign without an end are given up after so many.
const MOST_SIGNS: usize = 16;

/// All arrows between a crate's files. A module that shows its children's names at its own door
/// (`pub use child::Name`) does not use them by that.
pub(crate) fn arrows(of: &Crate) -> Arrows {
    let mut found = Arrows::new();
    for (path, module) in &of.modules {
        for Named {
            path: named,
            is_sign,
        } in &module.named
        {
            let Some(target) = resolve(of, path, named, 0) else {
                continue;
            };
            let shows_child = *is_sign && target.starts_with(path);
            let Some(to) = of.modules.get(&target) else {
                continue;
            };
            if !shows_child && to.file != module.file {
                found
                    .entry(module.file.clone())
                    .or_default()
                    .entry(to.file.clone())
                    .or_insert_with(|| named.join("::"));
            }
        }
    }
    found
}

/// The module in which what a path names is defined; `None` for another crate's.
fn resolve(of: &Crate, from: &Path, named: &Path, signs: usize) -> Option<Path> {
    let (first, rest) = named.split_first()?;
    match first.as_str() {
        "crate" => descend(of, Path::new(), rest, signs),
        "self" => descend(of, from.clone(), rest, signs),
        "super" => {
            let mut above = from.clone();
            above.pop();
            let mut rest = rest;
            while let Some((_, after)) = rest.split_first().filter(|(s, _)| *s == "super") {
                above.pop();
                rest = after;
            }
            descend(of, above, rest, signs)
        }
        name => {
            let module = of.modules.get(from)?;
            let is_child = of.modules.contains_key(&child(from, name));
            match (is_child, module.uses.get(name)) {
                (true, _) => descend(of, from.clone(), named, signs),
                // What it brings in has its own arrow; what lies beneath may lie elsewhere.
                (false, Some(path)) if path != named && signs < MOST_SIGNS => {
                    let mut whole = path.clone();
                    whole.extend_from_slice(rest);
                    resolve(of, from, &whole, signs + 1)
                }
                _ => None,
            }
        }
    }
}

fn child(path: &Path, name: &str) -> Path {
    let mut below = path.clone();
    below.push(name.to_owned());
    below
}

/// Follows names downwards from a module, through what it shows at its door.
fn descend(of: &Crate, at: Path, rest: &[String], signs: usize) -> Option<Path> {
    let module = of.modules.get(&at)?;
    let Some((name, rest)) = rest.split_first() else {
        return Some(at);
    };
    let below = child(&at, name);
    if of.modules.contains_key(&below) && !(rest.is_empty() && module.uses.contains_key(name)) {
        return descend(of, below, rest, signs);
    }
    if module.items.contains(name) || name == "*" || signs >= MOST_SIGNS {
        return Some(at);
    }
    if let Some(path) = module.uses.get(name) {
        let mut whole = path.clone();
        whole.extend_from_slice(rest);
        // Another crate's name shown here belongs to the door that shows it.
        return resolve(of, &at, &whole, signs + 1).or(Some(at));
    }
    for glob in &module.globs {
        let within = resolve(of, &at, glob, signs + 1);
        let has = within.as_ref().and_then(|path| of.modules.get(path));
        if has.is_some_and(|m| m.items.contains(name) || m.uses.contains_key(name)) {
            let mut whole = glob.clone();
            whole.push(name.clone());
            return resolve(of, &at, &whole, signs + 1);
        }
    }
    Some(at)
}

/// The circles: sets of files of which each leads to each other.
pub(crate) fn circles(arrows: &Arrows) -> Vec<BTreeSet<String>> {
    let reached: BTreeMap<&String, BTreeSet<&String>> = arrows
        .keys()
        .map(|file| (file, reach(arrows, file)))
        .collect();
    let mut found: Vec<BTreeSet<String>> = Vec::new();
    for (file, from_here) in &reached {
        if !from_here.contains(file) || found.iter().any(|circle| circle.contains(*file)) {
            continue;
        }
        let back = |other: &&&String| reached.get(**other).is_some_and(|r| r.contains(file));
        found.push(
            from_here
                .iter()
                .filter(back)
                .map(|f| (*f).clone())
                .collect(),
        );
    }
    found
}

fn reach<'a>(arrows: &'a Arrows, from: &String) -> BTreeSet<&'a String> {
    let mut seen = BTreeSet::new();
    let mut ahead: Vec<&String> = arrows
        .get(from)
        .into_iter()
        .flat_map(|to| to.keys())
        .collect();
    while let Some(file) = ahead.pop() {
        if seen.insert(file) {
            ahead.extend(arrows.get(file).into_iter().flat_map(|to| to.keys()));
        }
    }
    seen
}

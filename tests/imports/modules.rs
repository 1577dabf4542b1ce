//! A crate's modules, as its source files declare them, and every path that they name.

use std::collections::{BTreeMap, BTreeSet};

use proc_macro2::{TokenStream, TokenTree};
use syn::visit::{self, Visit};
use syn::{Attribute, Item, UseTree};

/// A path as it is written: `["crate", "read", "Mesh"]`; a glob ends with `*`.
pub(crate) type Path = Vec<String>;

/// Where a path is named.
#[derive(Clone, Debug)]
pub(crate) struct Named {
    pub path: Path,
    /// It stands in a `pub use` of any visibility: a sign at the door, not a use.
    pub is_sign: bool,
}

/// One module; the module of a file, or one written out within it.
#[derive(Debug, Default)]
pub(crate) struct Module {
    /// The file that it stands in, from the crate's folder on.
    pub file: String,
    /// What it defines, modules included.
    pub items: BTreeSet<String>,
    /// Names that it brings in, and the paths that they stand for.
    pub uses: BTreeMap<String, Path>,
    /// Modules all of whose names it brings in.
    pub globs: Vec<Path>,
    /// All paths that it names.
    pub named: Vec<Named>,
}

/// A crate: its modules by their path from the root, which is the empty one.
#[derive(Debug, Default)]
pub(crate) struct Crate {
    pub modules: BTreeMap<Path, Module>,
}

/// Source files by their place: `src/lib.rs`, `src/read/mod.rs`.
pub(crate) type Files = BTreeMap<String, String>;

impl Crate {
    /// Takes the files of a crate apart; code for tests alone is left out.
    ///
    /// # Errors
    /// A file that is no Rust.
    pub(crate) fn read(files: &Files) -> Result<Self, String> {
        let mut all = Self::default();
        let tests = tests_alone(files)?;
        for (file, text) in files {
            let path = path_of(file);
            if (1..=path.len()).any(|n| tests.contains(&path[..n])) {
                continue;
            }
            let parsed = syn::parse_file(text).map_err(|error| format!("{file}: {error}"))?;
            all.add(file, path, &parsed.items);
        }
        // Files whose declaration a macro writes belong to their folder's module all the same.
        let paths: Vec<Path> = all.modules.keys().cloned().collect();
        for path in paths {
            if let Some((name, parent)) = path.split_last()
                && let Some(module) = all.modules.get_mut(parent)
            {
                module.items.insert(name.clone());
            }
        }
        Ok(all)
    }

    fn add(&mut self, file: &str, path: Path, items: &[Item]) {
        let mut module = Module {
            file: file.to_owned(),
            ..Module::default()
        };
        for item in items.iter().filter(|item| !is_test(attributes(item))) {
            if let Some(name) = name_of(item) {
                module.items.insert(name);
            }
            match item {
                Item::Mod(inner) => {
                    if let Some((_, items)) = &inner.content {
                        let mut below = path.clone();
                        below.push(inner.ident.to_string());
                        self.add(file, below, items);
                    }
                }
                Item::Use(tree) => {
                    let is_sign = !matches!(tree.vis, syn::Visibility::Inherited);
                    module.bring_in(&tree.tree, Vec::new(), is_sign);
                }
                item => Names(&mut module.named).visit_item(item),
            }
        }
        self.modules.insert(path, module);
    }
}

impl Module {
    fn bring_in(&mut self, tree: &UseTree, mut path: Path, is_sign: bool) {
        match tree {
            UseTree::Path(step) => {
                path.push(step.ident.to_string());
                self.bring_in(&step.tree, path, is_sign);
            }
            UseTree::Group(group) => {
                for tree in &group.items {
                    self.bring_in(tree, path.clone(), is_sign);
                }
            }
            UseTree::Glob(_) => {
                self.globs.push(path.clone());
                path.push("*".to_owned());
                self.named.push(Named { path, is_sign });
            }
            UseTree::Name(name) => self.bring(name.ident.to_string(), None, path, is_sign),
            UseTree::Rename(name) => {
                let to = name.rename.to_string();
                self.bring(name.ident.to_string(), Some(to), path, is_sign);
            }
        }
    }

    fn bring(&mut self, name: String, renamed: Option<String>, mut path: Path, is_sign: bool) {
        let known_as = match name.as_str() {
            "self" => path.last().cloned().unwrap_or_default(),
            _ => {
                path.push(name.clone());
                name
            }
        };
        self.uses.insert(renamed.unwrap_or(known_as), path.clone());
        self.named.push(Named { path, is_sign });
    }
}

/// Modules that are for tests alone: files that `#[cfg(test)] mod NAME;` declares.
fn tests_alone(files: &Files) -> Result<BTreeSet<Path>, String> {
    let mut found = BTreeSet::new();
    for (file, text) in files {
        let parsed = syn::parse_file(text).map_err(|error| format!("{file}: {error}"))?;
        for item in &parsed.items {
            if let Item::Mod(inner) = item
                && is_test(&inner.attrs)
            {
                let mut path = path_of(file);
                path.push(inner.ident.to_string());
                found.insert(path);
            }
        }
    }
    Ok(found)
}

/// The module of a file: `src/read/mod.rs` and `src/read.rs` are `read`.
fn path_of(file: &str) -> Path {
    let inner = file.trim_start_matches("src/").trim_end_matches(".rs");
    let mut path: Path = inner.split('/').map(str::to_owned).collect();
    if matches!(
        path.last().map(String::as_str),
        Some("mod" | "lib" | "main")
    ) {
        path.pop();
    }
    path
}

fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute
                .meta
                .require_list()
                .is_ok_and(|list| list.tokens.to_string() == "test")
    })
}

fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(i) => &i.attrs,
        Item::Enum(i) => &i.attrs,
        Item::Fn(i) => &i.attrs,
        Item::Impl(i) => &i.attrs,
        Item::Macro(i) => &i.attrs,
        Item::Mod(i) => &i.attrs,
        Item::Static(i) => &i.attrs,
        Item::Struct(i) => &i.attrs,
        Item::Trait(i) => &i.attrs,
        Item::Type(i) => &i.attrs,
        Item::Union(i) => &i.attrs,
        Item::Use(i) => &i.attrs,
        _ => &[],
    }
}

fn name_of(item: &Item) -> Option<String> {
    Some(match item {
        Item::Const(i) => i.ident.to_string(),
        Item::Enum(i) => i.ident.to_string(),
        Item::Fn(i) => i.sig.ident.to_string(),
        Item::Mod(i) => i.ident.to_string(),
        Item::Static(i) => i.ident.to_string(),
        Item::Struct(i) => i.ident.to_string(),
        Item::Trait(i) => i.ident.to_string(),
        Item::Type(i) => i.ident.to_string(),
        Item::Union(i) => i.ident.to_string(),
        Item::Macro(i) => i.ident.as_ref()?.to_string(),
        _ => return None,
    })
}

/// Collects the paths of code, those within macros included.
struct Names<'a>(&'a mut Vec<Named>);

impl<'ast> Visit<'ast> for Names<'_> {
    fn visit_path(&mut self, path: &'ast syn::Path) {
        let path_here: Path = path.segments.iter().map(|s| s.ident.to_string()).collect();
        self.name(path_here);
        visit::visit_path(self, path);
    }

    fn visit_visibility(&mut self, _: &'ast syn::Visibility) {}

    fn visit_attribute(&mut self, _: &'ast Attribute) {}

    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        self.tokens(call.tokens.clone());
        visit::visit_macro(self, call);
    }
}

impl Names<'_> {
    fn name(&mut self, path: Path) {
        if path.len() > 1 {
            self.0.push(Named {
                path,
                is_sign: false,
            });
        }
    }

    /// Runs of names with `::` between.
    fn tokens(&mut self, tokens: TokenStream) {
        let mut run: Path = Vec::new();
        let mut colons = 0;
        for token in tokens {
            match token {
                TokenTree::Ident(name) => {
                    if colons != 2 {
                        self.name(std::mem::take(&mut run));
                    }
                    run.push(name.to_string());
                    colons = 0;
                }
                TokenTree::Punct(mark) if mark.as_char() == ':' => colons += 1,
                other => {
                    self.name(std::mem::take(&mut run));
                    colons = 0;
                    if let TokenTree::Group(group) = other {
                        self.tokens(group.stream());
                    }
                }
            }
        }
        self.name(run);
    }
}

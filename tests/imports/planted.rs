//! Circles that are planted, to see that they are found.

use std::collections::BTreeSet;

use crate::arrows::{arrows, circles};
use crate::modules::{Crate, Files};

fn found(files: &[(&str, &str)]) -> Vec<Vec<String>> {
    let own = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
    let files: Files = files.iter().map(own).collect();
    let all = circles(&arrows(&Crate::read(&files).unwrap()));
    let list = |circle: BTreeSet<String>| circle.into_iter().collect();
    all.into_iter().map(list).collect()
}

const LIB: (&str, &str) = ("src/lib.rs", "mod a; mod b; pub use a::A; pub use b::B;");

#[test]
fn an_even_flow_has_none() {
    let a = ("src/a.rs", "use crate::b::B; pub struct A(B);");
    let b = ("src/b.rs", "pub struct B;");
    assert!(found(&[LIB, a, b]).is_empty());
}

#[test]
fn two_files_that_name_each_other_are_found() {
    let a = ("src/a.rs", "use crate::b::B; pub struct A(B);");
    for back in [
        "use super::a::A; pub struct B(Box<A>);",
        "pub struct B(Box<crate::a::A>);",
        // Through what the parent shows.
        "use crate::A; pub struct B(Box<A>);",
        "use super::*; pub struct B(Box<A>); fn f() -> super::A { todo!() }",
        "pub struct B; fn f() { println!(\"{:?}\", crate::a::A::new()); }",
        "use crate as own; pub struct B(Box<own::a::A>);",
        "pub struct B; mod inner { use super::super::a::A; }",
    ] {
        let circles = found(&[LIB, a, ("src/b.rs", back)]);
        assert_eq!(circles, [["src/a.rs", "src/b.rs"]], "{back}");
    }
}

#[test]
fn a_parent_that_uses_a_child_which_uses_it_is_found() {
    let lib = ("src/lib.rs", "mod a; pub struct Lib(a::A);");
    let a = ("src/a.rs", "use super::Lib; pub struct A(Box<Lib>);");
    assert_eq!(found(&[lib, a]), [["src/a.rs", "src/lib.rs"]]);
    // One that only shows it does not use it.
    let lib = ("src/lib.rs", "mod a; pub use a::A; pub struct Lib;");
    assert!(found(&[lib, a]).is_empty());
}

#[test]
fn a_long_way_round_is_found() {
    let files = [
        ("src/lib.rs", "mod a; mod b; mod c;"),
        ("src/a.rs", "use crate::b::f;"),
        ("src/b.rs", "pub fn f() { crate::c::g() }"),
        ("src/c/mod.rs", "mod d; pub use d::g;"),
        ("src/c/d.rs", "pub fn g() { crate::a::h() }"),
    ];
    let circles = found(&files);
    assert_eq!(circles, [["src/a.rs", "src/b.rs", "src/c/d.rs"]]);
}

#[test]
fn what_only_tests_name_does_not_count() {
    let a = ("src/a.rs", "use crate::b::B; pub struct A(B);");
    let b = (
        "src/b.rs",
        "pub struct B; #[cfg(test)] mod tests { use crate::a::A; }",
    );
    assert!(found(&[LIB, a, b]).is_empty());
    let lib = ("src/lib.rs", "mod a; mod b; #[cfg(test)] mod tests;");
    let b = (
        "src/b.rs",
        "pub struct B; #[cfg(test)] use crate::tests::T;",
    );
    let tests = ("src/tests.rs", "use crate::a::A; pub struct T;");
    assert!(found(&[lib, a, b, tests]).is_empty());
}

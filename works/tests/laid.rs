//! A works that was just laid stands as one that was read from its record.

use bedplate_demo::{SEED, generate};
use bedplate_record::memory::MemoryStore;
use bedplate_works::plan::read::parse;
use bedplate_works::works::{Deed, Works, lay};

#[test]
fn the_floor_of_a_laid_works_is_the_floor_of_its_record() {
    let demo = generate(SEED);
    let store = MemoryStore::new();
    let laid = lay(&store, demo.groups).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let plan = parse("works.toml", demo.works_toml).unwrap();
    let deed = Deed { id: [9; 16], by: "bedplate".to_owned(), at: laid.latest };
    let works = Works::open(folder.path(), plan, Box::new(store), &deed).unwrap();
    let laid = format!("{:?}", sorted(&laid));
    let read = works.floor(|f| format!("{:?}", sorted(f)));
    assert!(laid == read, "the two floors differ");
}

/// What the floor says, in an order that does not depend on hashing.
fn sorted(floor: &bedplate_works::floor::Floor) -> impl std::fmt::Debug + use<> {
    let mut pieces: Vec<String> = floor.pieces.iter().map(|p| format!("{p:?}")).collect();
    pieces.sort_unstable();
    let mut drilled: Vec<String> = floor.drilled.iter().map(|d| format!("{d:?}")).collect();
    drilled.sort_unstable();
    let sets = format!("{:?}", floor.sets);
    let engines = format!("{:?}", floor.engines);
    let revisions = format!("{:?}", floor.revisions);
    (pieces, drilled, sets, engines, revisions, floor.latest, floor.editions.clone())
}

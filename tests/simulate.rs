//! Invented worlds, from a seed.

use lowtide::simulate::cat;

#[test]
fn one_seed_gives_one_cat() {
    let live = |seed| cat::simulate(seed, 3, &cat::Options::default());
    assert_eq!(live(7), live(7));
    assert_ne!(live(7), live(8));
}

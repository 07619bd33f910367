//! The table of `deploy/security-checks.md` names tests that there are.

use std::fs;
use std::path::Path;

#[test]
fn every_test_that_the_table_names_is_there() {
    let root = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    let table = fs::read_to_string(root.join("deploy/security-checks.md")).expect("the table");
    let spans = table.split('`').skip(1).step_by(2);
    let named = spans.filter_map(|span| span.rsplit_once("::"));
    let mut count = 0;
    for (file, test) in named {
        let text = fs::read_to_string(root.join(format!("{file}.rs")));
        let text = text.unwrap_or_else(|error| panic!("{file}.rs: {error}"));
        let is_there = text.contains(&format!("fn {test}("))
            || text.contains(&format!("on_both!({test},"))
            || text.contains(&format!("    {test},\n"));
        assert!(is_there, "{file}.rs has no test {test}");
        count += 1;
    }
    let rows = table.lines().filter(|line| {
        let number = line.trim_start_matches("| ").split(' ').next();
        number.is_some_and(|number| number.parse::<u8>().is_ok())
    });
    assert_eq!((rows.count(), count > 60), (44, true), "{count} tests");
}

//! How SQLite goes about what it is asked while a few people ask for everything.

use whorl_tests::statements::Plan;

/// What may read a table whole: nobody waits for it, or all of the table is the answer.
const WHOLE: [(&str, &str); 6] = [
    (
        "FROM `__diesel_schema_migrations`",
        "a row for each migration, at the start",
    ),
    ("DELETE FROM `session`", "swept once in a while"),
    ("DELETE FROM `throttle`", "swept once in a while"),
    (
        "SELECT COUNT(*) FROM `account`",
        "how many accounts there are, asked once at the first start",
    ),
    (
        "WHERE (`delivery`.`outcome` = ?) ORDER BY `delivery`.`ended_at` DESC",
        "the operator's list",
    ),
    (
        "ORDER BY `event`.`horse_id`, `event`.`seq` LIMIT ?",
        "catching up with lots, page by page, once after an upgrade",
    ),
];

/// Statements that would take ever longer as the whole record grows, whoever's horses they ask for.
pub(super) fn check(plans: &[Plan]) {
    assert!(plans.len() > 150, "only {} statements", plans.len());
    // What stands in brackets is the answer of a part of the statement; a constant row is no table's.
    let reads_whole = |step: &String| {
        let what = step.strip_prefix("SCAN ");
        what.is_some_and(|what| !what.starts_with('(') && what != "CONSTANT ROW")
    };
    let whole = |plan: &&Plan| {
        let statement = &plan.statement;
        // SQLite doesn't begin on what can't be true, unless it is but one of several ways to be true.
        let nothing = statement.contains("1=0") && !statement.contains(" OR ");
        !nothing
            && plan.steps.iter().any(reads_whole)
            && !WHOLE.iter().any(|(text, _)| statement.contains(text))
    };
    let found: Vec<_> = plans.iter().filter(whole).collect();
    assert!(found.is_empty(), "they read a table whole: {found:#?}");
    let unused = WHOLE.iter().filter(|(text, _)| {
        let mut heard = plans.iter().map(|plan| &plan.statement);
        !heard.any(|statement| statement.contains(text))
    });
    let unused: Vec<_> = unused.collect();
    assert!(unused.is_empty(), "nothing asks this: {unused:?}");
}

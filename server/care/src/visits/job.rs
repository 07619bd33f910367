//! From what is due for a horse to the visits that it needs.

use chrono::NaiveDate;

use super::Need;

/// Several things that one visit does, and the days that are right for all of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// The visit.
    pub need: Need,
    /// What it does: places in the list of what was asked.
    pub of: Vec<usize>,
}

/// Puts one horse's needs together so that it is visited as few times as their windows allow: in the order of their last
/// days, each joins the visit before if a day on which somebody can come is right for both. What is late takes along what
/// may be done on the first day.
///
/// The plan is then the best for these visits. If the needs of each horse have a day in common, as they mostly have, or if
/// there is one need a horse, there is no other way to put them together.
#[must_use]
pub fn group(needs: &[Need], days: &[NaiveDate]) -> Vec<Group> {
    let mut order: Vec<usize> = (0..needs.len()).collect();
    order.sort_by_key(|n| (!needs[*n].late, needs[*n].until));
    let mut groups: Vec<Group> = Vec::new();
    for n in order {
        let new = needs[n];
        let joined = groups
            .iter_mut()
            .find_map(|group| join(&group.need, &new, days).map(|need| (group, need)));
        match joined {
            Some((group, need)) => {
                group.need = need;
                group.of.push(n);
            }
            None => groups.push(Group {
                need: new,
                of: vec![n],
            }),
        }
    }
    groups
}

/// Both in one visit, if a day is right for both.
fn join(one: &Need, other: &Need, days: &[NaiveDate]) -> Option<Need> {
    let first = *days.first()?;
    let opens = |need: &Need| {
        if need.late {
            first
        } else {
            need.from.max(first)
        }
    };
    let late = one.late || other.late;
    if late && (opens(one) > first || opens(other) > first) {
        return None;
    }
    let both = Need {
        from: opens(one).max(opens(other)),
        until: one.until.min(other.until),
        late,
    };
    days.iter()
        .any(|day| both.from <= *day && *day <= both.until)
        .then_some(both)
}

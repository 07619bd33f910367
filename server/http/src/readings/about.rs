//! Which horses an answer tells of: those that it names with something of their record.

use std::collections::BTreeSet;

use whorl_care::ids::HorseId;
use whorl_contract::due::{DueBoard, HorseDue};
use whorl_contract::entry::{BarnEntry, HorseEntry};
use whorl_contract::horse::Horse;
use whorl_contract::notice::Notice;
use whorl_contract::recall::Recall;
use whorl_contract::sync::Pulled;
use whorl_contract::visits::VisitPlan;
use whorl_contract::yard::{BarnEfficacy, BarnHealth};

/// An answer that tells of horses.
pub(crate) trait AboutHorses {
    /// Them, each once.
    fn horses(&self) -> BTreeSet<HorseId>;
}

impl AboutHorses for HorseId {
    fn horses(&self) -> BTreeSet<HorseId> {
        [*self].into()
    }
}

impl AboutHorses for [Horse] {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.iter().map(|one| one.id).collect()
    }
}

impl AboutHorses for [Notice] {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.iter().map(|one| one.horse_id).collect()
    }
}

impl AboutHorses for Pulled {
    fn horses(&self) -> BTreeSet<HorseId> {
        let runs = self.runs.iter().filter(|run| !run.events.is_empty());
        runs.map(|run| run.horse_id).collect()
    }
}

impl AboutHorses for HorseDue {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.horse_id.horses()
    }
}

impl AboutHorses for DueBoard {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.horses.iter().map(|one| one.horse_id).collect()
    }
}

impl AboutHorses for VisitPlan {
    fn horses(&self) -> BTreeSet<HorseId> {
        let barns = self.days.iter().flat_map(|day| &day.barns);
        let planned = barns.flat_map(|barn| &barn.horses).map(|one| one.horse_id);
        let others = self.not_planned.iter().map(|one| one.horse_id);
        planned.chain(others).collect()
    }
}

impl AboutHorses for HorseEntry {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.horse_id.horses()
    }
}

impl AboutHorses for BarnEntry {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.horses.iter().map(|one| one.horse_id).collect()
    }
}

impl AboutHorses for Recall {
    fn horses(&self) -> BTreeSet<HorseId> {
        self.items.iter().map(|one| one.horse_id).collect()
    }
}

impl AboutHorses for BarnHealth {
    fn horses(&self) -> BTreeSet<HorseId> {
        let cases = self.watch.cases.iter().map(|one| one.horse_id);
        let watched = self.watch.watched.iter().map(|one| one.horse_id);
        cases.chain(watched).collect()
    }
}

impl AboutHorses for BarnEfficacy {
    fn horses(&self) -> BTreeSet<HorseId> {
        let tests = self.efficacy.tests.iter();
        let each = tests.flat_map(|test| {
            let pairs = test.pairs.iter().map(|one| one.horse_id);
            pairs.chain(test.left_out.iter().map(|one| one.horse_id))
        });
        each.collect()
    }
}

//! What people do with the field client, in process: no server, a fixed clock, a folder of its own for each test.

mod deworming;
mod figures;
mod golden;
mod herd_health;
mod history;
mod reaction_report;
mod recall;
mod record;
mod sheets;
mod typed;
mod withheld;
mod yard;

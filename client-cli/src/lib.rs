//! The field client of Whorl: records offline, signs, pushes, and keeps verified copies of the logs.

pub mod attachments;
pub mod author;
pub mod basis;
pub mod care_log;
pub mod chart;
pub mod clock;
pub mod command;
pub mod database;
pub mod desk;
pub mod dosing;
pub mod due_board;
pub mod failure;
pub mod form;
pub mod herd;
pub mod history;
pub mod home;
pub mod jotting;
pub mod mirror;
pub mod new_file;
pub mod outbox;
pub mod photo;
mod progress;
pub mod qr;
pub mod recording;
pub mod remote;
pub mod render;
pub mod rule_files;
mod schema;
pub mod server_key;
pub mod setting;
pub mod sheet;
pub mod signers;
pub mod spreadsheet;
pub mod stored;
pub mod sync;
pub mod unit;
pub mod visit;
pub mod when;
pub mod witness;
pub mod world;
pub mod yard;

use std::ffi::OsString;

use clap::Parser;

use crate::command::Cli;
use crate::desk::Desk;
use crate::world::World;

/// Runs one command and answers its exit status: 0 done; 1 this device failed; 2 bad input; 3 refused by the server;
/// 4 no connection; 5 the record doesn't verify.
pub fn run(args: impl IntoIterator<Item = OsString>, world: &mut World<'_>) -> i32 {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(told) => return tell(&told, world),
    };
    world.rules = cli.rules_dir.or_else(|| world.rules.take());
    let mut desk = Desk::new(world, cli.json);
    match cli.command.run(&mut desk) {
        Ok(()) => 0,
        Err(failure) => desk.fail(&failure),
    }
}

/// Help and version are answers; everything else is bad input.
fn tell(told: &clap::Error, world: &mut World<'_>) -> i32 {
    let text = told.render().to_string();
    // There is nobody left to tell if this fails.
    let _ = if told.use_stderr() {
        world.err.write_all(text.as_bytes())
    } else {
        world.out.write_all(text.as_bytes())
    };
    if told.use_stderr() { 2 } else { 0 }
}

//! The field client against a server on a real socket: bad networks, kills, full disks.

mod commands;
mod device;
mod erasing;
mod network;
mod process;
mod server;

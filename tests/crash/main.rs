//! What is left when something breaks: programs killed at any moment, power cut, disks full, failing or damaged, clocks
//! that jump. The servers and clients are the real programs.
//!
//! Each test runs a bounded number of rounds; `WHORL_ROUNDS=1000` makes a long run of it, and `--nocapture` shows what
//! it counted.

mod bad_disk;
mod clock_jumps;
mod damage;
mod disk;
mod kill_client;
mod kill_postgres;
mod kill_server;
mod load;
mod phone;
mod power_cut;
mod witness;

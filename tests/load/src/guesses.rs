//! Whether the time of a refusal tells who has an account.

use std::time::Instant;

use whorl_contract::path;
use whorl_contract::session::SignIn;

use crate::Outcome;
use crate::bench::Bench;
use crate::client::{Client, post};
use crate::figures::{Figure, middle};
use crate::world::Part;

/// So many wrong passwords in a row cost no wait.
const FREE: usize = 4;

/// So many people are tried.
const PEOPLE: u64 = 10;

impl Bench {
    /// Wrong passwords for people, and for nobody, by turns: how long each is refused after.
    pub(crate) fn guesses(&self) -> Outcome<Vec<Figure>> {
        let server = self.setup.start()?;
        let mut client = Client::connect(server.address)?;
        let people: Vec<_> = (0..self.world.barns().min(PEOPLE))
            .map(|barn| self.world.person(Part::Owner, barn))
            .collect();
        let (mut asked, mut rounds) = (0, Vec::new());
        for _ in 0..self.rounds * 3 {
            let (mut known, mut unknown) = (Vec::new(), Vec::new());
            for _ in 0..FREE {
                for person in &people {
                    asked += 1;
                    known.push(refused(&mut client, &person.email, asked)?);
                    let nobody = format!("nobody.{asked}@saltmarsh.example");
                    unknown.push(refused(&mut client, &nobody, asked)?);
                }
            }
            rounds.push((middle(known), middle(unknown)));
            // The right password from a device that the account knows: the wrong ones are forgotten.
            for person in &people {
                server.sign_in(person).map(drop)?;
            }
        }
        let figure = Figure::beside(
            "refusing a wrong password",
            "ms",
            "ms for an address without an account",
            &rounds,
        );
        Ok(vec![figure.note(format!(
            "{asked} tries of each, by turns; 1.00 tells nothing"
        ))])
    }
}

/// Milliseconds until a wrong password for an address is refused, from a network that never tried before.
fn refused(client: &mut Client, email: &str, network: usize) -> Outcome<f64> {
    let wrong = SignIn {
        email: email.to_owned(),
        password: "not the right one at all".to_owned(),
        device: None,
    };
    let request = post(path::SESSIONS, None, &serde_json::to_string(&wrong)?);
    let from = format!(
        "Host: load\r\nX-Forwarded-For: 10.{}.{}.1\r\n",
        network / 256,
        network % 256
    );
    let request = String::from_utf8(request)?.replacen("Host: load\r\n", &from, 1);
    let sent = Instant::now();
    let answer = client.send(request.as_bytes())?;
    let took = sent.elapsed().as_secs_f64() * 1_000.0;
    if answer.status == 401 {
        return Ok(took);
    }
    Err(format!("a wrong password is answered {}", answer.status).into())
}

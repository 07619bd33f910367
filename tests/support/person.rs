//! People with accounts on a test's server.

use std::ops::Deref;

use argon2::{Algorithm, Argon2, Params, PasswordHasher, Version};
use serde_json::json;
use whorl_care::ids::{AccountId, DeviceId};
use whorl_contract::key::{Purpose, SecretKey};
use whorl_contract::path;
use whorl_contract::session::{NewDevice, Refresh, Session, SignIn, refresh_message};

use crate::caller::{Answer, Caller};
use crate::server::TestServer;

/// Somebody with an account, signed in. Talks to the server as a [`Caller`] does.
#[derive(Clone)]
pub struct Person {
    /// The address to sign in with.
    pub email: String,
    /// The password.
    pub password: String,
    /// The key of the device, if this person has one.
    pub key: Option<SecretKey>,
    /// The session as it was last given.
    pub session: Session,
    caller: Caller,
}

impl Deref for Person {
    type Target = Caller;

    fn deref(&self) -> &Caller {
        &self.caller
    }
}

impl Person {
    /// Opens an account for `name` and signs in.
    pub(crate) fn join(server: &TestServer, name: &str, with_device: bool) -> Self {
        Self::open(&server.anonymous(), name, with_device)
    }

    /// Opens an account for `name` on any server and signs in.
    ///
    /// # Panics
    ///
    /// If it can't be opened.
    #[must_use]
    pub fn open(anonymous: &Caller, name: &str, with_device: bool) -> Self {
        let email = address(name);
        let password = password(name);
        let new = json!({"email": email, "name": name, "password": password});
        let opened = anonymous.post(path::ACCOUNTS, &new);
        assert_eq!(opened.status, 201, "{opened:?}");
        let key = with_device.then(new_key);
        let session = sign_in(anonymous, &email, &password, key.as_ref()).read();
        Self::of(anonymous, (email, password), key, session)
    }

    fn of(
        anonymous: &Caller,
        (email, password): (String, String),
        key: Option<SecretKey>,
        session: Session,
    ) -> Self {
        Self {
            caller: anonymous.with_token(&session.access_token),
            email,
            password,
            key,
            session,
        }
    }

    /// The same person, signed in once more: in a browser, or on another device with a new key.
    #[must_use]
    pub fn elsewhere(&self, with_device: bool) -> Self {
        let key = with_device.then(new_key);
        let session = sign_in(&self.caller, &self.email, &self.password, key.as_ref()).read();
        let credentials = (self.email.clone(), self.password.clone());
        Self::of(&self.caller, credentials, key, session)
    }

    /// The account.
    #[must_use]
    pub fn account(&self) -> AccountId {
        self.session.account.id
    }

    /// The device.
    ///
    /// # Panics
    ///
    /// If this person signed in without one.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        self.session.device_id.expect("a device")
    }

    /// Asks for new tokens with the refresh token of the session, and keeps them if they come.
    pub fn refresh(&mut self, server: &TestServer) -> Answer {
        let answer = self.ask_for_tokens(server);
        if answer.status == 200 {
            self.session = answer.read();
            self.caller = self.caller.with_token(&self.session.access_token);
        }
        answer
    }

    /// Asks for new tokens, and forgets the answer.
    #[must_use]
    pub fn ask_for_tokens(&self, server: &TestServer) -> Answer {
        server
            .anonymous()
            .post(path::REFRESH, &self.refresh_request(server))
    }

    /// The request for new tokens, with the device's proof if there is a device.
    #[must_use]
    pub fn refresh_request(&self, server: &TestServer) -> Refresh {
        let token = &self.session.refresh_token;
        let signed_at = server.now();
        Refresh {
            refresh_token: token.clone(),
            signed_at: self.key.is_some().then_some(signed_at),
            proof: self
                .key
                .as_ref()
                .map(|key| key.sign(Purpose::Refresh, &refresh_message(token, signed_at))),
        }
    }
}

/// Signs in, with a device or without.
#[must_use]
pub fn sign_in(caller: &Caller, email: &str, password: &str, key: Option<&SecretKey>) -> Answer {
    let device = key.map(|key| NewDevice {
        name: "phone in the truck".into(),
        public_key: key.public(),
        proof: key.sign(Purpose::Device, email.as_bytes()),
    });
    let request = SignIn {
        email: email.to_owned(),
        password: password.to_owned(),
        device,
    };
    caller.post(path::SESSIONS, &request)
}

/// A new signing key.
///
/// # Panics
///
/// If the machine gives no randomness.
#[must_use]
pub fn new_key() -> SecretKey {
    let mut seed = [0; 32];
    getrandom::fill(&mut seed).expect("random bytes");
    SecretKey::from_seed(&seed)
}

/// The address that a person of this name has in tests.
#[must_use]
pub fn address(name: &str) -> String {
    let plain: String = name
        .to_lowercase()
        .chars()
        .map(|one| if one.is_alphanumeric() { one } else { '.' })
        .collect();
    format!("{plain}@saltmarsh.example")
}

/// The password that a person of this name has in tests.
#[must_use]
pub fn password(name: &str) -> String {
    format!(
        "{} slept under the tidal gate",
        name.chars().rev().collect::<String>()
    )
}

/// A password's hash with a fraction of the work that the server asks for, as an older server could have left it.
///
/// # Panics
///
/// If it can't be made.
#[must_use]
pub fn weak_hash(password: &str) -> String {
    let weak = Argon2::new(
        Algorithm::Argon2id,
        Version::V0x13,
        Params::new(8192, 1, 1, None).expect("parameters"),
    );
    weak.hash_password_with_salt(password.as_bytes(), &[7; 16])
        .expect("a hash")
        .to_string()
}

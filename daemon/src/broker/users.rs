//! Who may say and hear what on the embedded broker: the users file and its rights. Pure; no socket, no disk.
//!
//! One user a line, `#` begins a comment line:
//!
//! ```text
//! oak-node:$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$…
//! hall-panel:$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$…:read warmend/#
//! hall-switch:$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$…:act
//! gateway:$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$…:node,write bridge/+/state
//! ```
//!
//! - Without a third part, or with `node` in it, the user is a node of that name: it says anything below
//!   `<prefix>/<name>/` except what only the daemon says there (`stored`, `permit`), and hears all below it.
//! - `act` lets the user answer and silence alarms by messages to `<prefix>/<name>/act`; no other right does.
//! - `read FILTER` and `write FILTER` grant a topic filter (MQTT 3.1.1, 4.7), each with `+` and `#` as usual.
use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2};
use std::collections::BTreeMap;

/// Most users in a file: a room of racks has tens of nodes.
pub const MAX_USERS: usize = 512;
/// Longest user name. It is a topic level and a client id as well.
pub const MAX_NAME: usize = 64;
/// Largest memory cost of a hash, KiB: a check of a password must not starve a small machine.
pub const MAX_HASH_MEMORY_KIB: u32 = 64 * 1024;
/// Last topic levels below `<prefix>/<node>/` that only the daemon may say.
pub const DAEMON_SAYS: [&str; 3] = ["stored", "permit", ACTED];

/// Last level of a topic by which a user acts upon alarms.
pub const ACT: &str = "act";
/// Last level of the topic on which that is answered.
pub const ACTED: &str = "acted";

/// In whose name a topic acts upon alarms, if it does: `<prefix>/<name>/act`.
pub fn acting<'a>(prefix: &str, topic: &'a str) -> Option<&'a str> {
    let name = topic.strip_prefix(prefix)?.strip_prefix('/')?.strip_suffix(ACT)?.strip_suffix('/')?;
    (!name.is_empty() && !name.contains('/')).then_some(name)
}

/// What is wrong with a users file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UsersError {
    /// A line is not `name:hash` or `name:hash:rights`.
    #[error(
        "line {line}: {why}; write name:hash or name:hash:rights, the hash as `warmend check --hash-password` prints it"
    )]
    Line {
        /// Counted from 1.
        line: usize,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The same name twice.
    #[error("line {line}: the user {name} is listed before; keep one of the two lines")]
    Twice {
        /// Counted from 1.
        line: usize,
        /// The name.
        name: String,
    },
    /// More than [`MAX_USERS`].
    #[error("it lists more than {MAX_USERS} users; remove those that are gone")]
    TooMany,
}

/// Everyone a users file lists.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Users {
    prefix: String,
    by_name: BTreeMap<String, User>,
}

#[derive(Clone, PartialEq, Eq)]
struct User {
    hash: String,
    rights: Vec<Right>,
}

impl std::fmt::Debug for User {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("User").field("rights", &self.rights).finish_non_exhaustive()
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Right {
    Node,
    Act,
    Read(String),
    Write(String),
}

impl Users {
    /// Reads a users file's text; `prefix` is the topics' first part, as in `warmend`.
    ///
    /// # Errors
    /// The first line that cannot be read, a name listed twice, or too many users. No line is skipped: a user
    /// that silently has no rights would be found out at night.
    pub fn parse(text: &str, prefix: &str) -> Result<Self, UsersError> {
        let mut by_name = BTreeMap::new();
        for (index, line) in text.lines().enumerate() {
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (name, user) = User::parse(line).map_err(|why| UsersError::Line { line: index + 1, why })?;
            if by_name.len() >= MAX_USERS {
                return Err(UsersError::TooMany);
            }
            if by_name.insert(name.to_owned(), user).is_some() {
                return Err(UsersError::Twice { line: index + 1, name: name.to_owned() });
            }
        }
        Ok(Self { prefix: prefix.to_owned(), by_name })
    }

    /// How many users there are.
    pub fn len(&self) -> usize {
        self.by_name.len()
    }

    /// Whether nobody is listed.
    pub fn is_empty(&self) -> bool {
        self.by_name.is_empty()
    }

    /// The stored hash of `name`, to be checked with [`password_fits`].
    pub fn hash(&self, name: &str) -> Option<&str> {
        self.by_name.get(name).map(|user| user.hash.as_str())
    }

    /// Whether `name` may publish to `topic` (retained and will messages alike).
    pub fn may_publish(&self, name: &str, topic: &str) -> bool {
        let acting = self.acting(topic);
        self.by_name.get(name).is_some_and(|user| {
            user.rights.iter().any(|right| match right {
                Right::Act => acting == Some(name),
                // Who may write anything may still not answer an alarm, in nobody's name.
                _ if acting.is_some() => false,
                Right::Node => self.node_may_say(name, topic),
                Right::Write(filter) => covers(filter, topic),
                Right::Read(_) => false,
            })
        })
    }

    /// Whether `name` may subscribe to `filter`: all that it matches must be granted, not a part of it.
    pub fn may_subscribe(&self, name: &str, filter: &str) -> bool {
        self.by_name.get(name).is_some_and(|user| {
            user.rights.iter().any(|right| match right {
                Right::Node => covers(&format!("{}/{name}/#", self.prefix), filter),
                Right::Read(granted) => covers(granted, filter),
                Right::Act => covers(&format!("{}/{name}/{ACTED}", self.prefix), filter),
                Right::Write(_) => false,
            })
        })
    }

    /// Whether `name` may connect as `client_id`. An id that is another user's name, or begins with it and a `-`,
    /// is that user's: taking it would throw the other off. The longest such name owns the id.
    pub fn may_be_called(&self, name: &str, client_id: &str) -> bool {
        let owner = self
            .by_name
            .keys()
            .filter(|user| {
                client_id.strip_prefix(user.as_str()).is_some_and(|end| end.is_empty() || end.starts_with('-'))
            })
            .max_by_key(|user| user.len());
        owner.is_none_or(|owner| owner == name)
    }

    /// In whose name a topic acts upon alarms, if it does.
    fn acting<'a>(&self, topic: &'a str) -> Option<&'a str> {
        acting(&self.prefix, topic)
    }

    fn node_may_say(&self, name: &str, topic: &str) -> bool {
        topic
            .strip_prefix(self.prefix.as_str())
            .and_then(|rest| rest.strip_prefix('/'))
            .and_then(|rest| rest.strip_prefix(name))
            .and_then(|rest| rest.strip_prefix('/'))
            .is_some_and(|rest| !DAEMON_SAYS.contains(&rest.split('/').next().unwrap_or(rest)))
    }
}

impl User {
    fn parse(line: &str) -> Result<(&str, Self), &'static str> {
        let mut parts = line.splitn(3, ':').map(str::trim);
        let name = parts.next().unwrap_or_default();
        let named = name.len() <= MAX_NAME
            && name.starts_with(|c: char| c.is_ascii_alphanumeric())
            && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
        if !named {
            return Err("a name is 1 to 64 of A-Z a-z 0-9 - _ and begins with a letter or digit");
        }
        let hash = parts.next().ok_or("there is no hash after the name")?;
        check_hash(hash)?;
        let rights = match parts.next() {
            None | Some("") => vec![Right::Node],
            Some(list) => list.split(',').map(|right| Right::parse(right.trim())).collect::<Result<_, _>>()?,
        };
        Ok((name, Self { hash: hash.to_owned(), rights }))
    }
}

impl Right {
    fn parse(text: &str) -> Result<Self, &'static str> {
        let granted = |filter: &str| {
            let filter = filter.trim();
            if well_formed(filter) { Ok(filter.to_owned()) } else { Err("a topic filter is malformed") }
        };
        match text.split_once(' ') {
            None if text == "node" => Ok(Self::Node),
            None if text == "act" => Ok(Self::Act),
            Some(("read", filter)) => granted(filter).map(Self::Read),
            Some(("write", filter)) => granted(filter).map(Self::Write),
            _ => Err("a right is node, act, read FILTER or write FILTER"),
        }
    }
}

/// The hash of a password, as a users file takes it (argon2id, the crate's recommended costs: 19 MiB, 2 passes).
/// `salt` are 16 random bytes.
pub fn hash_password(password: &str, salt: [u8; 16]) -> Option<String> {
    let salt = SaltString::encode_b64(&salt).ok()?;
    Argon2::default().hash_password(password.as_bytes(), &salt).ok().map(|hash| hash.to_string())
}

/// Whether the password is the hash's. Takes the time and memory that the hash asks for.
pub fn password_fits(password: &[u8], hash: &str) -> bool {
    PasswordHash::new(hash).is_ok_and(|hash| Argon2::default().verify_password(password, &hash).is_ok())
}

/// Whether a hash is one that may be checked here: argon2id, and no dearer than a small machine bears.
pub(crate) fn check_hash(hash: &str) -> Result<(), &'static str> {
    let parsed = PasswordHash::new(hash).map_err(|_| "the hash is not in PHC form ($argon2id$…)")?;
    if parsed.algorithm != Algorithm::Argon2id.ident() || parsed.hash.is_none() || parsed.salt.is_none() {
        return Err("the hash is not argon2id with salt and hash");
    }
    let costs = argon2::Params::try_from(&parsed).map_err(|_| "the costs of the hash cannot be read")?;
    if costs.m_cost() > MAX_HASH_MEMORY_KIB || costs.t_cost() > 16 || costs.p_cost() > 8 {
        return Err("the hash costs more than 64 MiB, 16 passes or 8 lanes");
    }
    Ok(())
}

/// Whether `filter` is well formed: `+` and `#` fill a level, `#` only the last (MQTT 3.1.1, 4.7.1).
fn well_formed(filter: &str) -> bool {
    let levels: Vec<&str> = filter.split('/').collect();
    !filter.is_empty()
        && !filter.contains(char::is_whitespace)
        && levels.iter().enumerate().all(|(i, level)| match *level {
            "#" => i + 1 == levels.len(),
            "+" => true,
            level => !level.contains(['+', '#', '\0']),
        })
}

/// Whether everything that `asked` (a topic or a filter) can match is matched by `granted`.
/// A topic that begins with `$` is the broker's own and never granted by a wildcard (MQTT 3.1.1, 4.7.2).
pub fn covers(granted: &str, asked: &str) -> bool {
    if asked.starts_with('$') && !granted.starts_with('$') {
        return false;
    }
    let mut asked = asked.split('/');
    for level in granted.split('/') {
        match (level, asked.next()) {
            // `a/#` matches `a` itself, too.
            ("#", _) => return true,
            ("+", Some(other)) if other != "#" => {}
            (level, Some(other)) if level == other && other != "#" => {}
            _ => return false,
        }
    }
    asked.next().is_none()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A hash that is cheap to check, for tests only.
    pub(crate) fn cheap_hash(password: &str) -> String {
        let costs = argon2::Params::new(8, 1, 1, None).unwrap();
        let salt = SaltString::encode_b64(b"not so random 16").unwrap();
        Argon2::new(Algorithm::Argon2id, argon2::Version::V0x13, costs)
            .hash_password(password.as_bytes(), &salt)
            .unwrap()
            .to_string()
    }

    fn users(rights: &str) -> Users {
        let text = format!("# who\n\noak-node:{}{rights}\noak-node-2:{}\n", cheap_hash("a"), cheap_hash("b"));
        Users::parse(&text, "warmend").unwrap()
    }

    #[test]
    fn covers_is_set_inclusion_of_what_filters_match() {
        let cases = [
            ("a/b", "a/b", true),
            ("a/b", "a/b/c", false),
            ("a/b/c", "a/b", false),
            ("a/#", "a/b/c", true),
            ("a/#", "a", true),
            ("a/#", "a/+/c", true),
            ("a/#", "a/#", true),
            ("a/#", "b", false),
            ("a/+", "a/b", true),
            ("a/+", "a/+", true),
            ("a/+", "a/#", false),
            ("a/+", "a", false),
            ("a/b", "a/+", false),
            ("a/b", "#", false),
            ("+/+", "#", false),
            ("#", "#", true),
            ("#", "$SYS/x", false),
            ("+/x", "$SYS/x", false),
            ("$SYS/#", "$SYS/x", true),
            ("#", "$share/g/warmend/#", false),
        ];
        for (granted, asked, expected) in cases {
            assert_eq!(covers(granted, asked), expected, "{granted} covers {asked}");
        }
    }

    #[test]
    fn only_who_may_act_acts_and_only_in_its_own_name() {
        for (rights, topic, may) in [
            (":act", "warmend/oak-node/act", true),
            (":act", "warmend/oak-node-2/act", false),
            (":act", "warmend/oak-node/senml", false),
            ("", "warmend/oak-node/act", false),
            (":node", "warmend/oak-node/act", false),
            (":write warmend/#", "warmend/oak-node/act", false),
            (":write warmend/#", "warmend/oak-node/senml", true),
            (":node,act", "warmend/oak-node/act", true),
            (":node,act", "warmend/oak-node/acted", false),
        ] {
            assert_eq!(users(rights).may_publish("oak-node", topic), may, "{rights} {topic}");
        }
        assert!(users(":act").may_subscribe("oak-node", "warmend/oak-node/acted"));
        assert_eq!(acting("warmend", "warmend/a/b/act"), None);
        assert_eq!(acting("warmend", "warmend//act"), None);
    }

    #[test]
    fn a_node_has_its_own_branch_and_no_other() {
        let users = users("");
        for (topic, expected) in [
            ("warmend/oak-node/senml", true),
            ("warmend/oak-node/a/b", true),
            ("warmend/oak-node/stored", false),
            ("warmend/oak-node/permit", false),
            ("warmend/oak-node/permit/x", false),
            ("warmend/oak-node", false),
            ("warmend/oak-node-2/senml", false),
            ("warmend/oak-nodes/senml", false),
            ("warmend//senml", false),
            ("other/oak-node/senml", false),
            ("$SYS/oak-node/senml", false),
        ] {
            assert_eq!(users.may_publish("oak-node", topic), expected, "publish {topic}");
        }
        for (filter, expected) in [
            ("warmend/oak-node/stored", true),
            ("warmend/oak-node/#", true),
            ("warmend/oak-node/+", true),
            ("warmend/+/stored", false),
            ("warmend/oak-node-2/stored", false),
            ("#", false),
            ("$share/g/warmend/oak-node/stored", false),
        ] {
            assert_eq!(users.may_subscribe("oak-node", filter), expected, "subscribe {filter}");
        }
        assert!(!users.may_publish("nobody", "warmend/nobody/senml"));
    }

    #[test]
    fn named_rights_replace_a_nodes_and_may_be_added_to_them() {
        let panel = users(":read warmend/#, write bridge/+/state");
        assert!(panel.may_subscribe("oak-node", "warmend/+/senml") && !panel.may_subscribe("oak-node", "bridge/#"));
        assert!(
            panel.may_publish("oak-node", "bridge/a/state") && !panel.may_publish("oak-node", "warmend/oak-node/senml")
        );
        assert!(users(":node,read x").may_publish("oak-node", "warmend/oak-node/senml"));
    }

    #[test]
    fn an_id_belongs_to_the_longest_user_that_it_is_named_after() {
        let users = users("");
        for (id, expected) in [
            ("oak-node", true),
            ("oak-node-a", true),
            ("oak-node-2", false),
            ("oak-node-2-b", false),
            ("lamp", true),
            ("", true),
        ] {
            assert_eq!(users.may_be_called("oak-node", id), expected, "{id:?}");
        }
    }

    #[test]
    fn every_bad_line_is_refused_by_its_number() {
        let hash = cheap_hash("a");
        for line in [
            "alone".to_owned(),
            format!(":{hash}"),
            format!("a/b:{hash}"),
            format!("-:{hash}"),
            format!("{}:{hash}", "a".repeat(MAX_NAME + 1)),
            "a:plain".to_owned(),
            "a:".to_owned(),
            "a:$argon2id$v=19$m=8,t=1,p=1$c2FsdHNhbHQ".to_owned(),
            "a:$argon2id$v=19$m=4000000,t=1,p=1$bm90IHNvIHJhbmRvbSAxNg$bm90IHNvIHJhbmRvbSAxNg".to_owned(),
            format!("a:{}", hash.replace("argon2id", "argon2d")),
            format!("a:{hash}:own"),
            format!("a:{hash}:read"),
            format!("a:{hash}:read a/#/b"),
            format!("a:{hash}:write a+/b"),
            format!("a:{hash}:node,,read a"),
        ] {
            let got = Users::parse(&format!("\n{line}"), "warmend");
            assert!(matches!(got, Err(UsersError::Line { line: 2, .. })), "{line}: {got:?}");
        }
        let twice = Users::parse(&format!("a:{hash}\na:{hash}"), "warmend");
        assert_eq!(twice, Err(UsersError::Twice { line: 2, name: "a".to_owned() }));
        let many: String = (0..=MAX_USERS).map(|i| format!("u{i}:{hash}\n")).collect();
        assert_eq!(Users::parse(&many, "warmend"), Err(UsersError::TooMany));
    }

    #[test]
    fn a_hash_fits_its_own_password_only_and_is_never_printed() {
        let hash = cheap_hash("warm");
        assert!(password_fits(b"warm", &hash));
        assert!(!password_fits(b"Warm", &hash) && !password_fits(b"", &hash) && !password_fits(b"warm", "junk"));
        assert!(!format!("{:?}", users("")).contains("argon2"));
        let made = hash_password("warm", [7; 16]).unwrap();
        assert_eq!(check_hash(&made), Ok(()));
    }
}

//! How many files and connections the system lets the daemon hold at once.
use crate::broker::MAX_CLIENTS;
use crate::web::CONNECTIONS_MAX;

/// Beside connections: history and its readers, logs, signals, messages on their way.
const BESIDE: usize = 64;

/// Says so in the log where it is less than the daemon's own bounds: with none left nobody is let in, and no page opens.
pub(super) fn look() {
    let needed = CONNECTIONS_MAX + MAX_CLIENTS + BESIDE;
    // Where there is no such file, nothing is known.
    let most = std::fs::read_to_string("/proc/self/limits").ok().and_then(|limits| most_open(&limits));
    if let Some(most) = most.filter(|most| *most < needed) {
        tracing::warn!(
            "the system lets this process open {most} files, and it may need {needed}: raise it (ulimit -n, or LimitNOFILE \
             of a service)"
        );
    }
}

/// The limit in force, from Linux's table of limits (proc_pid_limits(5)); none where it says "unlimited".
fn most_open(limits: &str) -> Option<usize> {
    let line = limits.lines().find_map(|line| line.strip_prefix("Max open files"))?;
    line.split_whitespace().next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_in_force_is_the_first_number() {
        let table = "Limit                     Soft Limit           Hard Limit           Units     \n\
                     Max processes             95982                95982                processes \n\
                     Max open files            1024                 524288               files     \n";
        assert_eq!(most_open(table), Some(1024));
        assert_eq!(most_open(&table.replace("1024 ", "unlimited ")), None);
        for odd in ["", "Max open files", "Max open files -1 -1 files", "nothing"] {
            assert_eq!(most_open(odd), None, "{odd}");
        }
    }
}

//! Topics on push servers: which are easy to guess, and on which servers that matters. Pure.

use std::net::IpAddr;

use reqwest::Url;

/// The host of an address like `https://host:443/`.
pub(super) fn host(address: &str) -> Option<String> {
    Url::parse(address).ok()?.host_str().map(str::to_owned)
}

/// Whether a host is outside of the house's own network, as far as its name says.
pub(super) fn is_public(host: &str) -> bool {
    let host = host.trim_start_matches('[').trim_end_matches(']').trim_end_matches('.').to_ascii_lowercase();
    match host.parse::<IpAddr>() {
        Ok(IpAddr::V4(v4)) => !(v4.is_loopback() || v4.is_private() || v4.is_link_local()),
        Ok(IpAddr::V6(v6)) => !(v6.is_loopback() || v6.is_unique_local() || v6.is_unicast_link_local()),
        Err(_) => {
            host.contains('.')
                && !HOME_NETWORKS
                    .iter()
                    .any(|ending| host.strip_suffix(ending).is_some_and(|h| h.ends_with('.')))
        }
    }
}

/// Why a topic is easy to guess, if it is. Random letters have digits among them and no word of the house.
pub(super) fn guessable(topic: &str, words: &[&str]) -> Option<&'static str> {
    let lower = topic.to_ascii_lowercase();
    let digits = topic.chars().filter(char::is_ascii_digit).count();
    let mut usual = ["cat", "glucose", "lowtide", "alarm", "alert", "insulin", "diabet"].iter().chain(words);
    if topic.len() < 12 {
        return Some("it is short");
    }
    if digits < 4 && usual.any(|word| word.len() > 2 && lower.contains(word)) {
        return Some("it has a word of the household in it");
    }
    (digits == 0).then_some("it looks like words")
}

/// Endings of names that only a home network knows (RFC 6762, RFC 8375; `lan` and `internal` by common practice).
const HOME_NETWORKS: &[&str] = &["local", "home.arpa", "lan", "internal", "localhost"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_topic_of_words_or_names_can_be_guessed_and_a_random_one_not() {
        for topic in ["pepper", "lowtide-pepper-owner", "our-pepper-at-home-2", "a-topic-nobody-guesses"] {
            assert!(guessable(topic, &["owner", "pepper"]).is_some(), "{topic}");
        }
        for topic in ["x7k2m9qf4td8wz3h", "Hn4-bR2_kP9sW1vT"] {
            assert_eq!(guessable(topic, &["owner", "pepper"]), None, "{topic}");
        }
    }

    /// Private ranges by RFC 1918, loopback by RFC 1122 and RFC 4291, unique local by RFC 4193.
    #[test]
    fn a_server_at_home_is_not_public() {
        for host in [
            "127.0.0.1",
            "[::1]",
            "192.168.1.5",
            "10.0.0.2",
            "172.16.9.9",
            "[fd00::1]",
            "box",
            "box.lan",
            "box.local.",
        ] {
            assert!(!is_public(host), "{host}");
        }
        for host in ["ntfy.example", "203.0.113.9", "172.32.0.1", "[2001:db8::1]", "mylan", "xlocal.example"]
        {
            assert_eq!(is_public(host), host != "mylan", "{host}");
        }
    }
}

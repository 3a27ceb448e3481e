//! How true the past is between a fault of the heating and its finding: `cargo run -p tests --example blind [-- FROM TO]`.
use tests::blind::live;
use tests::hindsight::Seen;

fn main() {
    let bounds: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let (from, to) = if let [from, to] = bounds[..] { (from, to) } else { (0, 24) };
    println!(
        "a fault of the heating: from its first wrong heat to its alarm | the hour after it ended by itself | a whole day"
    );
    println!(
        "each as it was believed then, and with hindsight: root mean squares along the axis and of the brood, stated"
    );
    println!(
        "deviation, K, share of the truth within 90 % intervals; how long it lasts, h, and until it is found, min"
    );
    let (mut blind, mut after, mut day) = (Seen::default(), Seen::default(), Seen::default());
    for run in from..to {
        let story = live(run);
        println!("{run:3} {story}");
        for f in &story.found {
            let minutes = f.until.since(f.from).ms() as f64 / 60_000.0;
            println!(
                "      found {:?} from {:.2} h on, {minutes:.0} min later",
                f.mode,
                (f.from.unix_s() - tests::quiet::EPOCH_S) / 3600.0
            );
        }
        (blind, after, day) = (blind.and(story.blind), after.and(story.after), day.and(story.day));
    }
    for (what, s) in [("blind", blind), ("after", after), ("day", day)] {
        println!("{what:6}{}  {}", s.then, s.later);
    }
}

//! Diagnosis.
mod case;
mod cause;
mod contest;
mod explain;
mod ground;
mod look;
mod name;
mod scan;
mod shape;
mod suspects;

pub use name::{Axis, Fault};

#[cfg(test)]
mod trial {
    use super::*;
    use crate::logbook::PeakLog;
    use crate::mount::TermValues;
    use crate::sky::Sky;
    use crate::solve::observe::observe;
    use crate::station::Station;
    use std::path::Path;

    #[test]
    fn trial() {
        let folder = Path::new("tests/data/reference/sessions");
        let only = std::env::var("ONLY").unwrap_or_default();
        let mut names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
        names.sort();
        for path in names {
            if !path.to_str().unwrap().contains(&only) { continue; }
            println!("=== {}", path.display());
            let station = Station::read(&path.join("station.toml")).unwrap();
            let sky = Sky::new(&station).unwrap();
            let log = PeakLog::read(&path.join("peaks.csv"), &station).unwrap();
            let t0 = std::time::Instant::now();
            let obs = observe(&station, &sky, &log, 0.0);
            let cases = case::cases(&station, &sky, &obs.usable);
            let sig = crate::solve::run::standard_deviations(&obs.usable, &station, &mut Vec::new());
            println!("observe {:?}", t0.elapsed());
            let mut ground = ground::Ground::new(cases, sig, station.dish.beamwidth, TermValues::ZERO, &[], 1);
            let state = ground.healthy().unwrap();
            println!("healthy {:?} bad {:?} s {:.4} deg", t0.elapsed(), (0..state.kept.len()).filter(|i| !state.kept[*i]).map(|i| ground.cases[i].observation.peak.row).collect::<Vec<_>>(), (state.variance.sqrt()*state.sigmas[0][0].degrees()));
            let answers = contest::ask_all(&station, &sky, &ground, &state);
            println!("ask {:?}", t0.elapsed());
            for a in &answers { println!("   {:?} {:?} p {:.2e} crit {:.1} fall {:.1} one {:.1}", a.cause.fault(), a.cause.axis(), a.false_alarm, a.criterion, a.gain.fall, a.gain.by_one_peak); }
            let v = contest::contest(&station, &sky, &mut ground, state, &|_| None);
            println!("contest {:?}", t0.elapsed());
            for a in &v.answers { println!(" ## {:?} {:?} p {:.2e} crit {:.1} values {:?}", a.cause.fault(), a.cause.axis(), a.false_alarm, a.criterion, a.values.iter().map(|v| v.to_degrees()).collect::<Vec<_>>()); }
            println!("bad {:?}", (0..v.state.kept.len()).filter(|i| !v.state.kept[*i]).map(|i| ground.cases[i].observation.peak.row).collect::<Vec<_>>());
            println!("params {:?}", v.state.parameters.iter().map(|p| (p.to_degrees()*1e4).round()/1e4).collect::<Vec<_>>());
        }
    }
}

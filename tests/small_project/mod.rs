//! A project of two pages and two trains on a panel of 10 × 12.

use std::fs;
use std::path::Path;

pub const PANEL: &str = r#"name = "bollard"
rows = 10
columns = 12
pixel_pitch_um = 500.0
[lines]
row_ohm = 9000.0
column_ohm = 6000.0
pixel_f = 2.0e-12
driver_ohm = 1500.0
[drivers]
select_v = { min = 4.0, max = 20.0, step = 0.5 }
data_v = { min = 1.5, max = 6.0, step = 0.25 }
tick_us = [500, 1000]
slot_ticks_max = 127
guard_ticks_max = 16
fields_max = 2
field_settle_ms = 2.0
stretch = { min = 0.5, max = 2.0, step = 0.01 }
[[erase]]
name = "plain"
strokes = [{ pixel_v = 18.0, ms = 150.0 }, { pixel_v = -18.0, ms = 1100.0 }]
rest_ms = 1000.0
[[erase]]
name = "primed"
strokes = [{ pixel_v = -17.0, ms = 1200.0 }]
rest_ms = 900.0
[limits]
refresh_s = 12.0
ghost_lstar = 0.5
net_impulse_vs = 25.0
temperature_c = { min = 5.0, max = 40.0 }
[instrument]
geometry = "45:0"
illuminant = "D50"
repeatability_lstar = 0.15
aperture_mm = 4.0
"#;

pub const CHART: &str = "\
page,patch,row_first,row_last,column_first,column_last,temperature_c,erase,field,select_v,data_v,tick_us,slot_ticks,guard_ticks,mirrored,ticks,fill_ticks
a,p,1,4,0,5,23,plain,1,13.5,2.75,500,48,4,false,42,17
a,p,1,4,0,5,23,plain,2,8.5,3.25,1000,16,0,true,9,7
a,q,5,9,6,11,23,plain,1,13.5,2.75,500,48,4,false,41,17
a,q,5,9,6,11,23,plain,2,8.5,3.25,1000,16,0,true,8,7
b,p,1,4,0,5,32,primed,1,-9.5,4.25,1000,32,8,true,30,20
";

pub const SCANS: &str =
    "page,patch,repeat,reflectance\na,p,1,0.25\na,p,2,0.26\na,q,1,0.35\nb,p,1,0.45\n";

pub const CELL: &str = "train,temperature_c,steps,repeat,reflectance\nc1,25,15:20 0:50,1,0.41\nc1,25,15:20 0:50,2,0.42\nc2,5,8:30,1,0.61\n";

pub const FILES: [(&str, &str); 4] = [
    ("panel.toml", PANEL),
    ("chart.csv", CHART),
    ("scans.csv", SCANS),
    ("cell.csv", CELL),
];

pub fn write_project(dir: &Path) {
    for (name, text) in FILES {
        fs::write(dir.join(name), text).unwrap();
    }
}

"""The invented farm and everybody on it; the passwords open nothing but this simulated farm."""

from typing import Final

FARM_NAME: Final = "Saltgrass Bench Orchards"
TIME_ZONE: Final = "America/Denver"
FEET: Final = 304.8

OWNER: Final = ("Marguerite Osei", "the owner walks the rows")
SUPERVISOR: Final = ("Ignacio Bellflower", "the pole is marked at ten")
SECOND_SUPERVISOR: Final = ("Perpetua Lind", "walk out and walk back")
WORKER: Final = ("Rosalba", "one column for each branch")

CREW_NAMES: Final = ("Bench crew", "River crew")
BENCH_CREW: Final = (
    ("B01", "Rosalba Tenorio", "es"),
    ("B02", "Efraín Dosaguas", "es"),
    ("B03", "Lucero Pineda Roble", "es"),
    ("B04", "Hollis Tarrant", "en"),
    ("B05", "Jacinto Malpica", "es"),
    ("B06", "Domitila Encino", "es"),
    ("B07", "Wade Okonjo", "en"),
    ("B08", "Anselmo Tres Ríos", "es"),
)
RIVER_CREW: Final = (
    ("R01", "Celestino Arboleda", "es"),
    ("R02", "Paz Monteverde", "es"),
    ("R03", "Gaspar Luján Peral", "es"),
    ("R04", "Itzel Caudillo", "es"),
    ("R05", "Ramiro Huizache", "es"),
    ("R06", "Noemí Salitre", "es"),
    ("R07", "Bette Lindqvist", "en"),
    ("R08", "Teófilo Barrera Nava", "es"),
    ("R09", "Odilia Cumbres", "es"),
    ("R10", "Saturnino Vega Llano", "es"),
    ("R11", "Chela Mezquite", "es"),
    ("R12", "Dorian Asher", "en"),
    ("R13", "Porfirio Cantil", "es"),
    ("R14", "Amparo Ledezma", "es"),
)

# Here old frost damage makes forks; part of a crew does most of it.
HARD_BLOCK: Final = "Pump House"
# Here the tops are measured.
MEASURED_BLOCK: Final = "Cottonwood"

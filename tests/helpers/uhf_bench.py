"""A bench on the channels of the UHF bands, as a first set-up file has it."""

UHF_BENCH = """[sweep]
region = "europe"
channels = "21-48"
[near]
connector = "N-50 jack"
[[chain]]
id = "pad"
part = "min-loss-pad-n-f"
[[chain]]
id = "lead"
part = "rg6"
length = "1 m"
near = "F-75 plug"
far = "IEC-75 plug"
[far]
connector = "IEC-75 jack"
limit = "VSWR 2.0"
"""
UHF_VSWR_ALONE = UHF_BENCH.replace("[[chain]]", 'shows = "vswr"\n[[chain]]', 1)

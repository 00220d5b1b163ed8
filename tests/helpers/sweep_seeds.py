"""Sound sweep files of every usual sort, invented, from which damaged ones are made."""

ONE_PORT = """! invented
# MHz S RI R 50
174 -0.0474 -0.0948
174.5 -0.0465 -0.0924 ! a remark
175 -0.0513 -0.0890
175.5 -0.0521 -0.0871
"""
ONE_PORT_MA = "# GHz S MA R 75\n0.174 0.2 -30\n0.175 0.21 -33.5\n0.176 0.19 -37\n"
ONE_PORT_DB = "# kHz DB S R 50\n174000 -12.5 34.2\n175000 -12.6 30.1\n176000 -12.9 27.4\n"
ONE_PORT_Z = "# Hz Z RI R 50\n1.74e8 1.2 0.3\n1.75e8 1.19 0.28\n"
TWO_PORT = """# MHz S MA R 50 75
100 0.05 10 0.52 -20 0.52 -20 0.05 170
200 0.06 20 0.51 -40 0.51 -40 0.05 150
300 0.07 30 0.50 -60 0.50 -60 0.06 130
"""
TWO_PORT_NOISE = TWO_PORT + "100 0.7 0.64 69 0.38\n200 0.9 0.46 75 0.36\n"
SECOND = """[Version] 2.0
# MHz S RI R 50
[Number of Ports] 1
[Number of Frequencies] 3
[Reference] 75
[Network Data]
174 0.1 0.2
175 0.1 0.21
176 0.1 0.22
[End]
"""
SECOND_TWO_PORT = """[Version] 2.1
# MHz S RI
[Number of Ports] 2
[Two-Port Data Order] 12_21
[Number of Frequencies] 2
[Reference] 50
75
[Matrix Format] Lower
[Network Data]
174 0.1 0.2 0.5 0.1 0.05 0
175 0.1 0.21 0.5 0.12 0.05 0.01
[End]
"""
TOUCHSTONES = {
    "one.s1p": ONE_PORT,
    "ma.s1p": ONE_PORT_MA,
    "db.s1p": ONE_PORT_DB,
    "z.s1p": ONE_PORT_Z,
    "two.s2p": TWO_PORT,
    "noise.s2p": TWO_PORT_NOISE,
    "second.ts": SECOND,
    "order.ts": SECOND_TWO_PORT,
    "one.txt": ONE_PORT,
}
TABLES = {
    "loss.csv": "# invented\nfrequency_mhz,return_loss_db\n174.00,19.62\n174.50,19.81\n175.00,19.70\n175.50,19.40\n",
    "german.csv": "Messung;erfunden\nPunkte;3\n\nFrequenz [MHz];Rückflussdämpfung [dB];Stehwellenverhältnis\n"
    "174,000;19,50;1,237\n174,500;19,70;1,231\n175,000;19,60;1,234\n",
    "ohm.csv": "Frequency (Hz),R (ohm),X (ohm)\n174000000,44.70,-8.57\n174500000,44.82,-8.38\n175000000,44.44,-8.00\n",
    "tab.tsv": "freq [MHz]\tS11 [dB]\tS11 phase [deg]\tS21 [dB]\n174\t-12.5\t34\t-3\n175\t-12.6\t30\t-3\n176\t-12.7\t26\t-3\n",
    "blank.txt": "! f_MHz  re  im\n174.0  0.10  0.20\n175.0  0.11  0.21\n176.0  0.12  0.20\n",
    "french.csv": 'Fréquence (MHz);ROS\n"1.174,5";1,5\n"1.175,5";1,6\n1176,5;1,55\n',
    "blocks.csv": "Trace 1\nf/MHz;VSWR\n470;1.2\n471;1.3\n\nTrace 2\nf/MHz;VSWR\n470;1.5\n471;1.6\n",
    "z.csv": "Frecuencia (kHz);|Z| [Ω];Fase Z (°)\n174000;70,5;-5\n175000;71;-4\n",
}

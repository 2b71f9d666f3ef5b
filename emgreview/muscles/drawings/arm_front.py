"""The right arm from the front, palm forward, with the edge of the trunk. Millimetres; see ``arm``.

Drawn from the worded sites and general knowledge as simple rounded shapes.
"""

from emgreview.muscles.drawings.arm import FLANK, carried, edges, silhouette
from emgreview.muscles.drawings.figure import Belly, Site, View
from emgreview.muscles.drawings.hand import PALM
from emgreview.muscles.drawings.shapes import line, loop, spindle

BOTTOM = 452.0
HAND = ("thenar_group", "abductor_digiti_minimi")

BELLIES = {
    "trapezius_upper": Belly(
        loop(
            (343.0, 106.0),
            (344.0, 114.0),
            (333.0, 130.0),
            (304.0, 146.0),
            (262.0, 162.0),
            (214.0, 174.0),
            (238.0, 162.5),
            (276.0, 152.5),
            (310.0, 137.5),
            (335.0, 119.0),
        )
    ),
    "sternocleidomastoid": Belly(
        spindle((354.0, 43.0, 4.0), (360.0, 67.0, 9.0), (370.0, 104.0, 10.0), (384.0, 138.0, 7.5), (392.0, 162.0, 3.5))
    ),
    "pectoralis_major_sternal": Belly(
        loop(
            (389.0, 207.0),
            (352.0, 214.0),
            (312.0, 228.0),
            (276.0, 248.0),
            (240.0, 278.0),
            (218.0, 300.0),
            (232.0, 296.5),
            (247.0, 296.0),
            (266.0, 316.0),
            (306.0, 337.0),
            (346.0, 342.0),
            (378.0, 333.0),
            (392.0, 310.0),
            (394.0, 262.0),
            (393.0, 220.0),
        )
    ),
    "pectoralis_major_clavicular": Belly(
        loop(
            (387.0, 182.0),
            (350.0, 180.0),
            (308.0, 182.0),
            (284.0, 188.0),
            (252.0, 222.0),
            (226.0, 262.0),
            (212.0, 296.0),
            (228.0, 281.0),
            (262.0, 251.0),
            (306.0, 224.0),
            (350.0, 207.0),
            (386.0, 199.0),
        )
    ),
    "deltoid_middle": Belly(
        loop(
            (207.0, 179.0),
            (190.0, 190.0),
            (175.0, 213.0),
            (166.5, 246.0),
            (163.0, 282.0),
            (163.5, 312.0),
            (169.0, 338.0),
            (176.5, 306.0),
            (183.5, 262.0),
            (194.0, 222.0),
        )
    ),
    "deltoid_anterior": Belly(
        loop(
            (212.0, 180.0),
            (246.0, 179.0),
            (279.0, 181.0),
            (266.0, 204.0),
            (240.0, 238.0),
            (217.0, 276.0),
            (194.0, 312.0),
            (173.0, 341.0),
            (179.5, 308.0),
            (187.0, 264.0),
            (197.0, 224.0),
        )
    ),
    "triceps_medial": Belly(
        spindle((227.0, 350.0, 2.0), (215.5, 392.0, 5.6), (207.5, 436.0, 5.6), (203.0, 470.0, 2.5)), deep=True
    ),
    "brachialis": Belly(
        spindle(
            (161.5, 356.0, 2.0), (156.5, 402.0, 10.0), (151.0, 440.0, 12.5), (153.0, 476.0, 11.0), (163.0, 508.0, 3.0)
        )
    ),
    "biceps_brachii": Belly(
        spindle(
            (215.0, 286.0, 3.0),
            (211.5, 305.0, 11.0),
            (205.5, 332.0, 19.5),
            (195.5, 372.0, 24.5),
            (184.0, 416.0, 23.5),
            (175.5, 452.0, 15.5),
            (170.0, 476.0, 7.5),
            (166.0, 494.0, 3.0),
        )
    ),
    "flexor_digitorum_profundus": Belly(
        spindle(
            (198.0, 520.0, 3.0), (181.0, 556.0, 7.5), (162.0, 604.0, 7.5), (136.0, 668.0, 4.0), (120.0, 712.0, 2.5)
        ),
        deep=True,
    ),
    "flexor_pollicis_longus": Belly(
        spindle((126.0, 580.0, 2.5), (111.5, 624.0, 8.0), (100.5, 664.0, 7.5), (92.0, 708.0, 2.5)), deep=True
    ),
    "flexor_digitorum_superficialis": Belly(
        spindle(
            (194.0, 516.0, 3.0), (173.0, 562.0, 10.0), (152.0, 609.0, 12.0), (127.0, 662.0, 9.0), (110.0, 714.0, 4.0)
        )
    ),
    "flexor_carpi_ulnaris": Belly(
        spindle(
            (202.0, 496.0, 2.5),
            (190.5, 530.0, 6.0),
            (175.5, 570.0, 6.5),
            (157.0, 614.0, 5.5),
            (137.0, 664.0, 3.6),
            (120.0, 722.0, 2.0),
        )
    ),
    "palmaris_longus": Belly(
        spindle((203.0, 494.0, 2.5), (184.5, 540.0, 6.0), (162.0, 590.0, 5.5), (138.0, 640.0, 2.6), (101.0, 722.0, 1.6))
    ),
    "flexor_carpi_radialis": Belly(
        spindle((201.0, 493.0, 3.0), (176.0, 534.0, 9.5), (152.0, 580.0, 10.0), (126.0, 630.0, 5.0), (86.0, 718.0, 1.8))
    ),
    "pronator_teres": Belly(
        spindle((200.0, 486.0, 4.0), (176.0, 508.0, 10.5), (150.0, 540.0, 10.0), (122.0, 582.0, 3.0))
    ),
    "extensor_carpi_radialis_longus": Belly(
        spindle((132.0, 474.0, 2.0), (119.0, 514.0, 4.5), (108.0, 560.0, 4.5), (96.0, 610.0, 2.0))
    ),
    "brachioradialis": Belly(
        spindle(
            (143.0, 436.0, 3.0),
            (136.0, 474.0, 8.5),
            (125.0, 520.0, 11.5),
            (114.0, 566.0, 10.5),
            (99.0, 616.0, 5.0),
            (76.0, 714.0, 1.8),
        )
    ),
    **{name: carried(PALM.bellies[name]) for name in HAND},
}

VIEW = View(
    name="arm front",
    title="arm from the front",
    seen="the arm from the front, palm forward, with the edge of neck and chest",
    frame=(-16.0, 30.0, 402.0, 908.0),
    scale=0.875,
    outline=(silhouette(BOTTOM),),
    edges=(edges()[0], line(*(point for point in FLANK if point[1] <= BOTTOM))),
    marks=(
        line((391.0, 172.0), (366.0, 168.0), (330.0, 172.0), (292.0, 171.0), (250.0, 166.0), (212.0, 174.0)),
        line((130.0, 484.0), (150.0, 489.0), (172.0, 490.0), (192.0, 487.0)),
        line((68.0, 724.5), (82.0, 728.5), (98.0, 730.5), (112.0, 731.5), (124.0, 731.5)),
        line((400.0, 40.0), (400.0, 150.0), (400.0, 300.0), (400.0, 450.0)),
        line((224.0, 304.0), (236.0, 305.0), (246.0, 300.0)),
    ),
    bellies=BELLIES,
    sites={
        "sternocleidomastoid": Site(381.0, 131.0, 67.0, ("sternal end of the clavicle", "mastoid")),
        "pectoralis_major_clavicular": Site(300.0, 207.0, 155.0, ("middle of the clavicle",)),
        "pectoralis_major_sternal": Site(286.0, 296.0, 168.0, ("front fold of the armpit",)),
        "deltoid_anterior": Site(222.0, 214.0, 112.0, ("acromion",)),
        "deltoid_middle": Site(175.0, 258.0, 98.0, ("acromion", "deltoid tuberosity")),
        "biceps_brachii": Site(183.5, 394.0, 104.0, ("acromion", "elbow crease")),
        "brachialis": Site(148.0, 438.0, 95.0, ("elbow crease",)),
        "brachioradialis": Site(118.5, 546.0, 102.0, ("elbow crease", "radial styloid")),
        "pronator_teres": Site(165.0, 521.0, 131.0, ("elbow crease", "medial epicondyle")),
        "flexor_carpi_radialis": Site(160.0, 566.0, 117.0, ("elbow crease",)),
        "flexor_carpi_ulnaris": Site(189.0, 537.0, 113.0, ("pisiform", "medial epicondyle")),
        "flexor_digitorum_superficialis": Site(148.0, 627.0, 114.0, ("elbow crease", "wrist crease")),
        "flexor_pollicis_longus": Site(104.0, 651.0, 105.0, ("radial styloid", "elbow crease")),
    },
    landmarks={
        "mastoid": (351.0, 40.0),
        "sternal end of the clavicle": (390.0, 170.0),
        "middle of the clavicle": (301.0, 172.0),
        "acromion": (208.0, 175.0),
        "deltoid tuberosity": (168.0, 341.0),
        "front fold of the armpit": (246.5, 299.0),
        "elbow crease": (166.0, 490.0),
        "medial epicondyle": (203.0, 484.0),
        "radial styloid": (72.0, 715.0),
        "wrist crease": (98.0, 730.5),
        "pisiform": (117.0, 739.0),
    },
    sides=("outer side", "inner side"),
)

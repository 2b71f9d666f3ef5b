"""The right arm from the back, with the edge of the back. Millimetres, the middle of the body at x = 0; see ``arm``.

Drawn from the worded sites and general knowledge as simple rounded shapes.
"""

from emgreview.muscles.drawings.arm import behind, edges, silhouette
from emgreview.muscles.drawings.figure import Belly, Site, View
from emgreview.muscles.drawings.shapes import line, loop, spindle

BELLIES = {
    "erector_spinae": Belly(
        spindle((16.0, 330.0, 5.0), (20.0, 400.0, 11.0), (22.0, 480.0, 14.0), (22.0, 560.0, 14.0)), deep=True
    ),
    "rhomboids": Belly(loop((10.0, 168.0), (66.0, 222.0), (82.0, 290.0), (10.0, 214.0)), deep=True),
    "supraspinatus": Belly(
        spindle((86.0, 196.0, 4.0), (120.0, 182.0, 9.0), (160.0, 175.0, 8.0), (196.0, 183.0, 3.0)), deep=True
    ),
    "latissimus_dorsi": Belly(
        loop(
            (5.0, 398.0),
            (50.0, 362.0),
            (96.0, 338.0),
            (136.0, 314.0),
            (156.0, 292.0),
            (172.0, 280.0),
            (168.0, 289.0),
            (153.0, 297.5),
            (147.0, 312.0),
            (143.0, 340.0),
            (139.5, 372.0),
            (134.0, 420.0),
            (127.0, 474.0),
            (112.0, 528.0),
            (84.0, 574.0),
            (44.0, 590.0),
            (5.0, 588.0),
            (5.0, 500.0),
        )
    ),
    "trapezius": Belly(
        loop(
            (5.0, 147.0),
            (48.0, 168.0),
            (96.0, 182.0),
            (150.0, 189.0),
            (116.0, 204.0),
            (80.0, 220.0),
            (70.0, 252.0),
            (44.0, 316.0),
            (5.0, 392.0),
            (5.0, 300.0),
            (5.0, 220.0),
        )
    ),
    "trapezius_lower": Belly(
        loop((6.0, 252.0), (40.0, 240.0), (76.0, 224.0), (67.0, 254.0), (42.0, 312.0), (6.0, 386.0))
    ),
    "teres_major": Belly(spindle((106.0, 324.0, 5.0), (134.0, 303.0, 11.0), (160.0, 284.0, 9.0), (192.0, 272.0, 4.0))),
    "teres_minor": Belly(spindle((116.0, 296.0, 3.5), (144.0, 272.0, 8.0), (172.0, 246.0, 8.0), (198.0, 222.0, 3.5))),
    "infraspinatus": Belly(
        loop(
            (81.0, 226.0),
            (116.0, 214.0),
            (158.0, 203.0),
            (192.0, 202.0),
            (202.0, 210.0),
            (184.0, 224.0),
            (158.0, 248.0),
            (130.0, 276.0),
            (104.0, 300.0),
            (96.0, 300.0),
            (88.0, 268.0),
        )
    ),
    "trapezius_upper": Belly(
        loop(
            (6.0, 54.0),
            (30.0, 50.0),
            (47.0, 70.0),
            (55.0, 98.0),
            (67.0, 120.5),
            (92.0, 139.0),
            (126.0, 152.5),
            (164.0, 163.0),
            (190.0, 176.0),
            (160.0, 184.0),
            (110.0, 179.0),
            (60.0, 165.0),
            (5.0, 142.0),
        )
    ),
    "triceps_medial": Belly(
        spindle((210.0, 352.0, 3.0), (211.0, 390.0, 14.0), (218.0, 430.0, 17.0), (226.0, 472.0, 4.0)), deep=True
    ),
    "triceps_long": Belly(
        spindle(
            (194.0, 228.0, 3.5),
            (191.0, 266.0, 12.0),
            (188.0, 316.0, 19.0),
            (193.0, 366.0, 17.0),
            (206.0, 420.0, 10.0),
            (221.0, 470.0, 3.0),
        )
    ),
    "triceps_lateral": Belly(
        spindle(
            (217.0, 252.0, 3.0),
            (224.0, 290.0, 11.5),
            (229.0, 336.0, 15.0),
            (232.0, 384.0, 13.5),
            (232.0, 428.0, 8.0),
            (229.0, 470.0, 3.0),
        )
    ),
    "deltoid_posterior": Belly(
        loop(
            (190.0, 183.0),
            (162.0, 190.0),
            (128.0, 200.0),
            (142.0, 216.0),
            (166.0, 240.0),
            (190.0, 272.0),
            (212.0, 308.0),
            (229.0, 339.0),
            (222.0, 302.0),
            (213.5, 258.0),
            (204.0, 216.0),
        )
    ),
    "deltoid_middle": Belly(
        loop(
            (193.0, 179.0),
            (210.0, 190.0),
            (225.0, 213.0),
            (233.5, 246.0),
            (237.0, 282.0),
            (236.5, 312.0),
            (231.5, 338.0),
            (225.0, 306.0),
            (217.0, 262.0),
            (206.0, 218.0),
        )
    ),
    "brachialis": Belly(spindle((245.0, 368.0, 1.8), (250.0, 408.0, 5.5), (254.0, 448.0, 4.5), (255.0, 476.0, 1.8))),
    "brachioradialis": Belly(
        spindle((258.0, 436.0, 2.0), (267.0, 474.0, 5.0), (278.5, 516.0, 6.5), (290.5, 560.0, 6.0), (301.0, 606.0, 2.5))
    ),
    "supinator": Belly(
        spindle((258.0, 494.0, 3.5), (266.0, 520.0, 10.0), (276.0, 550.0, 10.0), (285.0, 584.0, 3.0)), deep=True
    ),
    "flexor_digitorum_profundus": Belly(
        spindle((216.0, 506.0, 3.0), (229.0, 550.0, 9.0), (245.0, 600.0, 9.0), (264.0, 660.0, 3.0)), deep=True
    ),
    "extensor_indicis": Belly(
        spindle((268.0, 632.0, 2.5), (277.0, 660.0, 7.0), (287.0, 686.0, 6.0), (300.0, 722.0, 2.0)), deep=True
    ),
    "extensor_pollicis_longus": Belly(
        spindle((264.0, 606.0, 2.5), (279.0, 640.0, 6.0), (296.0, 680.0, 5.0), (316.0, 724.0, 1.8)), deep=True
    ),
    "flexor_carpi_ulnaris": Belly(
        spindle(
            (203.0, 494.0, 3.0),
            (213.0, 526.0, 7.5),
            (225.5, 570.0, 8.0),
            (243.0, 616.0, 6.0),
            (262.0, 660.0, 3.6),
            (277.0, 712.0, 2.0),
        )
    ),
    "anconeus": Belly(spindle((261.0, 482.0, 3.0), (250.0, 500.0, 8.0), (243.0, 530.0, 3.0))),
    "extensor_carpi_ulnaris": Belly(
        spindle(
            (262.0, 488.0, 2.5),
            (253.0, 528.0, 7.0),
            (257.0, 574.0, 8.5),
            (268.0, 622.0, 6.5),
            (281.0, 676.0, 3.0),
            (287.0, 716.0, 1.8),
        )
    ),
    "extensor_digiti_minimi": Belly(
        spindle((264.0, 492.0, 1.6), (264.0, 540.0, 3.2), (271.0, 590.0, 3.4), (284.0, 650.0, 2.4), (296.0, 722.0, 1.4))
    ),
    "extensor_digitorum": Belly(
        spindle(
            (264.0, 487.0, 2.5),
            (270.5, 526.0, 8.0),
            (278.5, 570.0, 10.5),
            (290.0, 624.0, 8.0),
            (301.0, 676.0, 5.0),
            (308.0, 722.0, 3.0),
        )
    ),
    "extensor_carpi_radialis_brevis": Belly(
        spindle(
            (265.0, 476.0, 2.0),
            (276.0, 512.0, 5.5),
            (286.0, 556.0, 6.5),
            (296.0, 602.0, 4.5),
            (307.0, 650.0, 2.2),
            (319.0, 720.0, 1.5),
        )
    ),
    "extensor_carpi_radialis_longus": Belly(
        spindle(
            (261.0, 452.0, 2.0),
            (272.5, 490.0, 5.0),
            (283.5, 528.0, 5.5),
            (293.0, 566.0, 4.0),
            (304.0, 610.0, 2.0),
            (324.0, 718.0, 1.5),
        )
    ),
    "abductor_pollicis_longus": Belly(
        spindle((280.0, 628.0, 2.5), (297.0, 650.0, 7.0), (312.0, 676.0, 6.0), (330.0, 716.0, 2.0))
    ),
    "extensor_pollicis_brevis": Belly(
        spindle((284.0, 650.0, 1.8), (298.0, 668.0, 4.0), (311.0, 690.0, 3.6), (327.0, 722.0, 1.6))
    ),
}

VIEW = View(
    name="arm back",
    title="arm from the back",
    seen="the arm from the back, thumb outward, with the edge of neck and back",
    frame=(-2.0, 30.0, 416.0, 908.0),
    scale=0.875,
    outline=(silhouette(600.0).moved(behind),),
    edges=tuple(edge.moved(behind) for edge in edges()),
    marks=(
        line((188.0, 185.0), (150.0, 192.0), (110.0, 205.0), (78.0, 220.0)),
        line((78.0, 220.0), (79.0, 256.0), (86.0, 298.0), (97.0, 330.0), (112.0, 308.0), (134.0, 270.0)),
        line((0.0, 40.0), (0.0, 200.0), (0.0, 400.0), (0.0, 598.0)),
        line((222.0, 474.0), (229.0, 468.0), (237.0, 474.0), (236.0, 488.0), (229.0, 494.0), (222.0, 488.0)),
        line((236.0, 500.0), (245.0, 560.0), (258.0, 630.0), (276.0, 706.0)),
        line((276.0, 710.0), (283.0, 706.0), (288.0, 713.0), (284.0, 721.0)),
    ),
    bellies=BELLIES,
    sites={
        "trapezius_upper": Site(97.0, 158.0, 16.0, ("acromion", "C7")),
        "infraspinatus": Site(131.0, 240.0, 158.0, ("scapular spine",)),
        "latissimus_dorsi": Site(134.0, 366.0, 112.0, ("back fold of the armpit", "lower tip of the scapula")),
        "deltoid_posterior": Site(184.0, 224.0, 58.0, ("acromion",)),
        "deltoid_middle": Site(225.0, 258.0, 82.0, ("acromion", "deltoid tuberosity")),
        "triceps_long": Site(188.0, 332.0, 88.0, ("acromion", "olecranon")),
        "triceps_lateral": Site(229.5, 334.0, 86.0, ("acromion", "olecranon")),
        "extensor_carpi_radialis_longus": Site(281.5, 520.0, 74.0, ("lateral epicondyle",)),
        "extensor_carpi_radialis_brevis": Site(281.0, 535.0, 76.0, ("lateral epicondyle",)),
        "extensor_digitorum": Site(278.0, 566.0, 78.0, ("lateral epicondyle", "ulnar styloid")),
        "extensor_carpi_ulnaris": Site(256.5, 570.0, 83.0, ("ulnar shaft",)),
        "supinator": Site(269.0, 529.0, 72.0, ("lateral epicondyle",)),
        "flexor_digitorum_profundus": Site(233.0, 563.0, 72.0, ("ulnar shaft", "olecranon")),
        "extensor_indicis": Site(279.5, 668.0, 70.0, ("ulnar styloid",)),
        "abductor_pollicis_longus": Site(303.0, 660.0, 58.0, ("radial styloid",)),
    },
    landmarks={
        "C7": (2.0, 140.0),
        "acromion": (192.0, 178.0),
        "scapular spine": (110.0, 205.0),
        "lower tip of the scapula": (97.0, 330.0),
        "back fold of the armpit": (153.0, 301.0),
        "deltoid tuberosity": (232.0, 341.0),
        "olecranon": (229.0, 481.0),
        "medial epicondyle": (198.0, 484.0),
        "lateral epicondyle": (264.0, 476.0),
        "ulnar shaft": (254.0, 612.0),
        "ulnar styloid": (281.0, 718.0),
        "radial styloid": (328.0, 714.0),
    },
    sides=("inner side", "outer side"),
    asked=frozenset({"trapezius_lower"}),
)

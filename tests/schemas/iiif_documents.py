"""IIIF documents written by hand, which together use every property, selector and service."""

from __future__ import annotations

import copy
from typing import Any

PRESENTATION = "http://iiif.io/api/presentation/3/context.json"
IMAGE = "http://iiif.io/api/image/3/context.json"
BASE = "https://iiif.aldermoor.example.org/ms-17"
IMAGES = "https://images.aldermoor.example.org"
PHYSICAL_DIMENSIONS = "http://iiif.io/api/annex/services/physdim"

Json = Any


def text(words: str, language: str = "en") -> Json:
    """Words in one language."""
    return {language: [words]}


def reference(kind: str, last: str, **more: Json) -> Json:
    """An object with id and type."""
    return {"id": f"{BASE}/{last}", "type": kind, **more}


def image(name: str = "001r", **more: Json) -> Json:
    """An image with its service."""
    return {
        "id": f"{IMAGES}/{name}/full/max/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": 3000,
        "height": 4200,
        "service": [{"id": f"{IMAGES}/{name}", "type": "ImageService3", "profile": "level0"}],
        **more,
    }


def annotation(name: str, body: Json, **more: Json) -> Json:
    """An annotation that paints on the canvas 001r."""
    made = {
        **reference("Annotation", f"annotation/{name}"),
        "motivation": "painting",
        "body": body,
        "target": f"{BASE}/canvas/001r",
    }
    return {**made, **more}


def page(name: str, *annotations: Json, **more: Json) -> Json:
    """An annotation page."""
    return {**reference("AnnotationPage", f"page/{name}"), "items": list(annotations), **more}


def canvas(name: str = "001r", *pages: Json, **more: Json) -> Json:
    """A canvas."""
    return {
        **reference("Canvas", f"canvas/{name}"),
        "label": text(f"f. {name}", "none"),
        "width": 3000,
        "height": 4200,
        "items": list(pages) or [page(f"{name}/1", annotation(f"{name}/1", image(name)))],
        **more,
    }


def manifest(*canvases: Json, **more: Json) -> Json:
    """A small manifest."""
    return {
        "@context": PRESENTATION,
        **reference("Manifest", "manifest.json"),
        "label": text("Herbal"),
        "items": list(canvases) or [canvas()],
        **more,
    }


LINK = {"id": f"{BASE}/mets.xml", "type": "Dataset"}
SERVICES: dict[str, Json] = {
    "image service 3": {
        "id": f"{IMAGES}/001r",
        "type": "ImageService3",
        "profile": "level2",
        "protocol": "http://iiif.io/api/image",
        "width": 3000,
        "height": 4200,
        "maxWidth": 3000,
        "maxHeight": 4200,
        "maxArea": 12600000,
        "sizes": [{"type": "Size", "width": 300, "height": 420}],
        "tiles": [{"type": "Tile", "width": 512, "height": 512, "scaleFactors": [1, 2, 4, 8]}],
        "preferredFormats": ["webp"],
        "extraFormats": ["webp"],
        "extraQualities": ["gray"],
        "extraFeatures": ["mirroring"],
    },
    "image service 2": {
        "@id": f"{IMAGES}/2/001r",
        "@type": "ImageService2",
        "profile": "http://iiif.io/api/image/2/level2.json",
        "service": [{"@id": f"{IMAGES}/login", "@type": "AuthCookieService1", "label": "Log in"}],
    },
    "image service 1": {"@id": f"{IMAGES}/1/001r", "@type": "ImageService1", "profile": "level1"},
    "search": {
        "@id": f"{BASE}/search",
        "@type": "SearchService1",
        "profile": "http://iiif.io/api/search/1/search",
    },
    "completion": {"@id": f"{BASE}/complete", "@type": "AutoCompleteService1"},
    "token": {"@id": f"{BASE}/token", "@type": "AuthTokenService1"},
    "logout": {"@id": f"{BASE}/logout", "@type": "AuthLogoutService1"},
    "probe": {
        "id": f"{BASE}/probe",
        "type": "AuthProbeService2",
        "service": [
            {
                "id": f"{BASE}/access",
                "type": "AuthAccessService2",
                "profile": "active",
                "label": text("Log in"),
                "heading": text("Readers only"),
                "note": text("Use your reader's card"),
                "confirmLabel": text("Log in"),
                "service": [
                    {"id": f"{BASE}/token2", "type": "AuthAccessTokenService2", "errorHeading": text("No")},
                    {"id": f"{BASE}/logout2", "type": "AuthLogoutService2", "label": text("Log out")},
                ],
            }
        ],
    },
    "physical dimensions": {
        "@context": "http://iiif.io/api/annex/services/physdim/1/context.json",
        "id": f"{BASE}/physdim",
        "type": "Service",
        "profile": PHYSICAL_DIMENSIONS,
        "physicalScale": 0.0423333,
        "physicalUnits": "mm",
    },
    "another": {"id": f"{BASE}/other", "type": "OtherService", "profile": "https://example.org/other"},
}

FRAGMENT = {
    "type": "FragmentSelector",
    "conformsTo": "http://www.w3.org/TR/media-frags/",
    "value": "xywh=0,0,100,100",
}
SELECTORS: dict[str, Json] = {
    "fragment": FRAGMENT,
    "point": {"type": "PointSelector", "x": 10, "y": 20, "t": 0.5},
    "shape": {"type": "SvgSelector", "value": "<svg xmlns='http://www.w3.org/2000/svg'/>"},
    "image request": {
        "type": "ImageApiSelector",
        "region": "0,0,100,100",
        "size": "max",
        "rotation": "!90",
        "quality": "gray",
        "format": "png",
    },
    "path": {"type": "XPathSelector", "value": "/html/body/p[2]"},
    "style": {"type": "CssSelector", "value": "p > em"},
    "quotation": {"type": "TextQuoteSelector", "exact": "Incipit", "prefix": "", "suffix": " liber"},
    "characters": {"type": "TextPositionSelector", "start": 0, "end": 7},
    "bytes": {"type": "DataPositionSelector", "start": 4096, "end": 4104},
    "stretch": {
        "type": "RangeSelector",
        "startSelector": {"type": "XPathSelector", "value": "//p[1]"},
        "endSelector": {"type": "XPathSelector", "value": "//p[2]"},
        "refinedBy": FRAGMENT,
    },
}

POINT = {"type": "Point", "coordinates": [-1.5, 53.8]}
PLACE = {
    "id": f"{BASE}/place",
    "type": "FeatureCollection",
    "features": [{"id": f"{BASE}/feature", "type": "Feature", "properties": {}, "geometry": POINT}],
}
DESCRIPTIVE: Json = {
    "label": {"en": ["Herbal"], "la": ["Herbarium"], "ar-Latn": ["x"], "none": ["MS 17"]},
    "metadata": [{"label": text("Date"), "value": text("c. 1475")}],
    "summary": text("<p>An <i>illustrated</i> herbal</p>"),
    "requiredStatement": {"label": text("Credit"), "value": text("Aldermoor Library")},
    "rights": "http://creativecommons.org/licenses/by-nc-sa/4.0/",
    "provider": [
        {
            "id": "https://aldermoor.example.org/",
            "type": "Agent",
            "label": text("Aldermoor Library"),
            "homepage": [{"id": "https://aldermoor.example.org/en", "type": "Text", "label": text("Home")}],
            "logo": [
                {"id": "https://aldermoor.example.org/logo.png", "type": "Image", "format": "image/png"}
            ],
            "seeAlso": [LINK],
        }
    ],
    "thumbnail": [image()],
    "seeAlso": [
        {**LINK, "label": text("METS"), "format": "application/xml", "profile": "http://www.loc.gov/METS/"}
    ],
    "service": [SERVICES["another"]],
    "homepage": [
        {
            "id": f"{BASE}/about",
            "type": "Text",
            "label": text("Record"),
            "format": "text/html",
            "language": ["en"],
        }
    ],
    "rendering": [
        {"id": f"{BASE}/ms.pdf", "type": "Text", "label": text("PDF"), "format": "application/pdf"}
    ],
    "partOf": [
        {"id": "https://iiif.aldermoor.example.org/herbals", "type": "Collection", "label": text("Herbals")}
    ],
}
"""What every resource may have."""

PLACEHOLDER = {**canvas("cover"), "label": text("Cover")}
BODIES: dict[str, Json] = {
    "image": image(),
    "image with a caption": image(label=text("Visible light"), annotations=[page("caption")]),
    "sound": {
        "id": f"{BASE}/reading.mp3",
        "type": "Sound",
        "format": "audio/mpeg",
        "duration": 61.5,
        "language": "la",
    },
    "film": {
        "id": f"{BASE}/a.mp4",
        "type": "Video",
        "format": "video/mp4",
        "width": 9,
        "height": 9,
        "duration": 3,
    },
    "text": {
        "type": "TextualBody",
        "value": "Incipit liber primus",
        "format": "text/plain",
        "language": "la",
        "processingLanguage": "la",
        "textDirection": "ltr",
        "purpose": "transcribing",
        "creator": "https://example.org/scribe",
        "created": "2026-03-10T12:00:00Z",
        "modified": "2026-03-10T12:00:00Z",
    },
    "choice": {
        "type": "Choice",
        "items": [image("001r", label=text("Light")), image("001r_ir", label=text("IR"))],
    },
    "part": {
        **reference("SpecificResource", "part"),
        "source": image(),
        "selector": SELECTORS["image request"],
        "format": "image/jpeg",
        "scope": f"{BASE}/canvas/001r",
        "styleClass": "rotated",
        "purpose": ["tagging"],
        "state": {"type": "TimeState", "sourceDate": "2026-03-10T12:00:00Z", "cached": f"{BASE}/copy"},
        "renderedVia": {"id": "https://example.org/viewer", "type": "Software"},
        "accessibility": "captions",
    },
    "several": [image(), {"type": "TextualBody", "value": "Incipit"}],
    "place": {"id": f"{BASE}/f", "type": "Feature", "properties": {}, "geometry": POINT},
}
TARGETS: dict[str, Json] = {
    "address": f"{BASE}/canvas/001r#xywh=0,0,100,100",
    "canvas": reference(
        "Canvas", "canvas/001r#t=1,2&xywh=0,0,1,1", partOf=[reference("Manifest", "manifest.json")]
    ),
    "manifest": reference("Manifest", "manifest.json"),
    "part": {**reference("SpecificResource", "part"), "source": f"{BASE}/canvas/001r", "selector": FRAGMENT},
    "several": [f"{BASE}/canvas/001r", f"{BASE}/canvas/001v"],
}
ABOUT: Json = {
    **annotation("note", BODIES["text"], motivation=["commenting", "tagging"]),
    "created": "2026-03-10T12:00:00Z",
    "modified": "2026-03-10T12:00:00Z",
    "generated": "2026-03-10T12:00:00Z",
    "creator": {
        "id": "https://example.org/cataloguer",
        "type": "Person",
        "name": "A. Cataloguer",
        "nickname": "ac",
        "email": "mailto:ac@example.org",
        "email_sha1": "0" * 40,
        "homepage": "https://example.org/ac",
    },
    "generator": ["https://example.org/tool", {"id": "https://example.org/other", "type": "Software"}],
    "audience": {"id": "https://example.org/readers", "type": "schema:Audience"},
    "canonical": "urn:uuid:92b4ac4f-0000-4000-8000-000000000000",
    "via": ["https://example.org/copy"],
    "stylesheet": {"id": f"{BASE}/style.css", "type": "CssStylesheet", "value": ".a { color: red }"},
    "textGranularity": "line",
    "timeMode": "trim",
}
"""An annotation that says something about a canvas, with all that the Web Annotation model gives it."""


def everything() -> Json:
    """A manifest that uses all that a manifest can hold."""
    pages = [page("paint", *(annotation(f"b/{n}", each) for n, each in enumerate(BODIES.values())))]
    notes = [
        page("notes", ABOUT, next=f"{BASE}/page/2", prev=reference("AnnotationPage", "page/0")),
        page(
            "targets",
            *(
                annotation(f"t/{n}", BODIES["text"], motivation="tagging", target=each)
                for n, each in enumerate(TARGETS.values())
            ),
            *(
                annotation(f"s/{n}", {**BODIES["part"], "selector": each}, motivation="tagging")
                for n, each in enumerate(SELECTORS.values())
            ),
            partOf=[reference("AnnotationCollection", "layer", label=text("Notes"))],
        ),
        reference("AnnotationPage", "page/elsewhere"),
    ]
    first = canvas(
        "001r",
        *pages,
        **{**DESCRIPTIVE, "service": list(SERVICES.values())},
        navDate="1475-01-01T00:00:00Z",
        navPlace=PLACE,
        behavior=["facing-pages", "no-auto-advance"],
        placeholderCanvas=PLACEHOLDER,
        accompanyingCanvas=PLACEHOLDER,
        annotations=notes,
    )
    heard = {**reference("Canvas", "canvas/heard"), "label": text("Reading"), "duration": 61.5, "items": []}
    leaf = {
        **reference("Range", "range/1"),
        **DESCRIPTIVE,
        "behavior": ["no-nav", "no-auto-advance"],
        "navDate": "1475-01-01T00:00:00+01:00",
        "viewingDirection": "top-to-bottom",
        "start": reference("Canvas", "canvas/001r"),
        "supplementary": reference("AnnotationCollection", "layer"),
        "placeholderCanvas": PLACEHOLDER,
        "annotations": [page("range")],
        "items": [
            reference("Canvas", "canvas/001r#xywh=0,0,1,1"),
            {
                **reference("SpecificResource", "part/1"),
                "source": f"{BASE}/canvas/001r",
                "selector": FRAGMENT,
            },
            {
                "type": "SpecificResource",
                "source": reference("Canvas", "canvas/001r"),
                "selector": [FRAGMENT],
            },
            {**reference("Range", "range/2"), "items": [reference("Canvas", "canvas/heard")]},
        ],
    }
    made = manifest(
        first,
        heard,
        **DESCRIPTIVE,
        navDate="1475-01-01T00:00:00Z",
        navPlace=PLACE,
        behavior=["paged", "no-repeat"],
        viewingDirection="right-to-left",
        placeholderCanvas=PLACEHOLDER,
        accompanyingCanvas=PLACEHOLDER,
        start={
            **reference("SpecificResource", "start"),
            "source": f"{BASE}/canvas/001r",
            "selector": FRAGMENT,
        },
        services=[SERVICES["search"], SERVICES["probe"]],
        structures=[{**reference("Range", "range/0"), "label": text("Contents"), "items": [leaf]}],
        annotations=[page("manifest")],
    )
    made["@context"] = ["http://iiif.io/api/extension/navplace/context.json", PRESENTATION]
    return copy.deepcopy(made)  # parts that are used twice are not one object


def collection() -> Json:
    """A collection that uses all that a collection can hold."""
    inner = {**reference("Collection", "part"), "label": text("Part"), "items": []}
    made = {
        "@context": PRESENTATION,
        **reference("Collection", "collection.json"),
        **DESCRIPTIVE,
        "navDate": "1475-01-01T00:00:00Z",
        "navPlace": PLACE,
        "behavior": ["multi-part", "individuals"],
        "viewingDirection": "left-to-right",
        "placeholderCanvas": PLACEHOLDER,
        "services": [SERVICES["search"]],
        "annotations": [page("collection")],
        "items": [
            reference(
                "Manifest",
                "manifest.json",
                label=text("Vol. 1"),
                thumbnail=[image()],
                navDate="1475-01-01T00:00:00Z",
            ),
            reference("Collection", "more", label=text("More")),
            inner,
        ],
    }
    return copy.deepcopy(made)


def annotation_page() -> Json:
    """An annotation page as a document of its own."""
    made = page("alone", ABOUT, *(annotation(f"a/{n}", each) for n, each in enumerate(BODIES.values())))
    return copy.deepcopy({"@context": PRESENTATION, **made, "label": text("Notes"), "thumbnail": [image()]})


def annotation_collection() -> Json:
    """An annotation collection as a document of its own."""
    pages = {key: reference("AnnotationPage", f"page/{key}") for key in ("first", "last")}
    made = {**reference("AnnotationCollection", "layer"), **DESCRIPTIVE, **pages, "total": 12}
    return copy.deepcopy({"@context": PRESENTATION, **made})


def info() -> Json:
    """An info.json that uses all that one can hold."""
    made = {
        "@context": ["https://example.org/extension.json", IMAGE],
        **{key: value for key, value in SERVICES["image service 3"].items() if key != "service"},
        "rights": "http://rightsstatements.org/vocab/InC-EDU/1.0/",
        "partOf": [reference("Manifest", "manifest.json", label=text("Herbal"))],
        "seeAlso": [LINK],
        "service": [SERVICES["physical dimensions"], SERVICES["image service 2"]],
    }
    return copy.deepcopy(made)


def older_manifest() -> Json:
    """A manifest of the Presentation API 2.1."""
    here = f"{BASE}/2"
    picture = {
        "@id": f"{IMAGES}/2/001r/full/full/0/default.jpg",
        "@type": "dctypes:Image",
        "format": "image/jpeg",
        "width": 3000,
        "height": 4200,
        "service": {
            "@context": "http://iiif.io/api/image/2/context.json",
            "@id": f"{IMAGES}/2/001r",
            "profile": "http://iiif.io/api/image/2/level0.json",
        },
    }
    painted = {
        "@type": "oa:Annotation",
        "motivation": "sc:painting",
        "resource": picture,
        "on": f"{here}/canvas/001r",
    }
    leaf = {
        "@id": f"{here}/canvas/001r",
        "@type": "sc:Canvas",
        "label": "f. 1r",
        "width": 3000,
        "height": 4200,
        "viewingHint": "non-paged",
        "images": [painted],
        "otherContent": [{"@id": f"{here}/list/1", "@type": "sc:AnnotationList"}],
    }
    made = {
        "@context": "http://iiif.io/api/presentation/2/context.json",
        "@id": f"{here}/manifest.json",
        "@type": "sc:Manifest",
        "label": [{"@value": "Herbal", "@language": "en"}, "MS 17"],
        "metadata": [{"label": "Date", "value": ["c. 1475", {"@value": "um 1475", "@language": "de"}]}],
        "description": "An illustrated herbal",
        "attribution": "Aldermoor Library",
        "license": ["http://creativecommons.org/licenses/by/4.0/"],
        "logo": {"@id": f"{IMAGES}/logo.png"},
        "thumbnail": f"{IMAGES}/2/001r/full/150,/0/default.jpg",
        "viewingDirection": "right-to-left",
        "viewingHint": "paged",
        "navDate": "1475-01-01T00:00:00Z",
        "related": {"@id": f"{here}/about", "format": "text/html"},
        "rendering": [{"@id": f"{here}/ms.pdf", "label": "PDF", "format": "application/pdf"}],
        "seeAlso": f"{here}/mets.xml",
        "within": f"{here}/herbals",
        "service": [{"@id": f"{here}/search", "profile": "http://iiif.io/api/search/1/search"}],
        "sequences": [
            {"@type": "sc:Sequence", "startCanvas": leaf["@id"], "canvases": [leaf]},
            {"@id": f"{here}/sequence/2", "@type": "sc:Sequence", "label": "As it was bound"},
        ],
        "structures": [
            {
                "@id": f"{here}/range/1",
                "@type": "sc:Range",
                "label": "Contents",
                "viewingHint": "top",
                "ranges": [f"{here}/range/2"],
                "canvases": [f"{here}/canvas/001r#xywh=0,0,1,1"],
                "members": [{"@id": leaf["@id"], "@type": "sc:Canvas", "label": "f. 1r"}],
            }
        ],
    }
    return copy.deepcopy(made)


def older_collection() -> Json:
    """A collection of the Presentation API 2.1."""
    here = f"{BASE}/2"
    return {
        "@context": ["https://example.org/extension.json", "http://iiif.io/api/presentation/2/context.json"],
        "@id": f"{here}/collection.json",
        "@type": "sc:Collection",
        "label": "Herbals",
        "total": 2,
        "manifests": [{"@id": f"{here}/manifest.json", "@type": "sc:Manifest", "label": "Vol. 1"}],
        "collections": [{"@id": f"{here}/more.json", "@type": "sc:Collection", "label": "More"}],
    }

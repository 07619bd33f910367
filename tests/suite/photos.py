"""Makes photos as phones make them, and looks at photos that came back, with Pillow and with exifread.

Reads JSON on standard input: {"make": name of a photo}, or {"look": {"first": base64, "second": base64}}. What is made is told in base64;
of two photos it is told what their second still says beside the picture, how it is turned, and whether both show the same.
"""

import base64
import io
import json
import struct
import sys

import exifread
import PIL.Image
import PIL.ImageChops
import PIL.ImageCms
import PIL.ImageOps
import PIL.PngImagePlugin

CANARY = "Saltmarsh-Gate-Seven"
XMP = (
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    '<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="54,7.5N" about="%s"/></rdf:RDF></x:xmpmeta>' % CANARY
).encode()


def picture():
    """Colours that no turn leaves alone."""
    image = PIL.Image.new("RGB", (48, 32))
    for x in range(48):
        for y in range(32):
            image.putpixel((x, y), (x * 5, y * 7, (x * y) % 251))
    return image


def exif(turned, place=True):
    block = PIL.Image.Exif()
    if turned:
        block[0x0112] = turned
    if place:
        block[0x010F], block[0x0132] = CANARY, "2027:03:04 09:20:00"
        block.get_ifd(0x8825).update({1: "N", 2: (54.0, 7.0, 30.0), 3: "W", 4: (3.0, 2.0, 1.0)})
        block.get_ifd(0x8769).update({0xA431: CANARY})
    return block


def saved(image, **how):
    file = io.BytesIO()
    image.save(file, **how)
    return file.getvalue()


def segment(marker, contents):
    return b"\xff" + bytes([marker]) + struct.pack(">H", len(contents) + 2) + contents


def jpeg(**how):
    icc = PIL.ImageCms.ImageCmsProfile(PIL.ImageCms.createProfile("sRGB")).tobytes()
    return saved(picture(), format="JPEG", quality=90, icc_profile=icc, comment=CANARY, **how)


def make(name):
    if name == "phone.jpg":
        # Behind the picture, a second one with a block of its own, as phones keep a depth map or a film there.
        plain = jpeg(exif=exif(6))
        xmp = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP)
        iptc = segment(0xED, b"Photoshop 3.0\x00" + CANARY.encode())
        return plain[:2] + xmp + iptc + plain[2:] + jpeg(exif=exif(1))
    if name == "progressive.jpg":
        return saved(picture(), format="JPEG", progressive=True, exif=exif(3))
    if name == "printed.jpg":
        # Four inks: how they are coded stands in a segment of Adobe's, without which the colours come out wrong.
        return saved(picture().convert("CMYK"), format="JPEG", exif=exif(8))
    if name == "scan.png":
        notes = PIL.PngImagePlugin.PngInfo()
        notes.add_text("Comment", CANARY)
        notes.add_text("Author", CANARY, zip=True)
        notes.add_itxt("XML:com.adobe.xmp", XMP.decode(), zip=False)
        image = picture().convert("P")
        return saved(image, format="PNG", exif=exif(8), pnginfo=notes, transparency=3, dpi=(300, 300)) + CANARY.encode()
    if name == "turned.webp":
        return saved(picture(), format="WEBP", lossless=True, exif=exif(5), xmp=XMP)
    if name == "through.webp":
        image = picture().convert("RGBA")
        image.putalpha(picture().convert("L"))
        return saved(image, format="WEBP", quality=80, exif=exif(None), xmp=XMP)
    if name == "plain.jpg":
        return saved(picture(), format="JPEG", exif=exif(6, place=False))
    raise SystemExit(f"no photo {name}")


def look(first, second):
    before, after = (PIL.Image.open(io.BytesIO(photo)) for photo in (first, second))
    before.load(), after.load()
    upright = [PIL.ImageOps.exif_transpose(image).convert("RGBA") for image in (before, after)]
    block = after.getexif()
    places = dict(block.get_ifd(0x8825))
    read = exifread.process_file(io.BytesIO(second), details=True)
    tags = {str(tag) for tag in read if not tag.startswith("EXIF ExifVersion")}
    return {
        "format": after.format,
        "same_coding": before.tobytes() == after.tobytes() and before.mode == after.mode,
        "same_upright": PIL.ImageChops.difference(*upright).getbbox(alpha_only=False) is None,
        "same_profile": before.info.get("icc_profile") == after.info.get("icc_profile"),
        "same_grain": before.info.get("dpi") == after.info.get("dpi"),
        "turned": block.get(0x0112),
        "turned_before": before.getexif().get(0x0112),
        "places": len(places),
        "places_before": len(before.getexif().get_ifd(0x8825)),
        "tags": sorted(tags | {str(tag) for tag in block}),
        "canary": CANARY.encode() in second or b"GPS" in second,
        "xmp": bool(after.info.get("xmp")),
        "text": sorted(getattr(after, "text", {})),
        "bytes_before": len(first),
        "bytes": len(second),
    }


asked = json.load(sys.stdin)
if "make" in asked:
    json.dump(base64.b64encode(make(asked["make"])).decode(), sys.stdout)
else:
    json.dump(look(*(base64.b64decode(asked["look"][part]) for part in ("first", "second"))), sys.stdout)

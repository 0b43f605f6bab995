"""METS documents of every part of METS, ours or not: an invented album, its sound and its locked scans."""

from __future__ import annotations

from lxml import etree

METS = "http://www.loc.gov/METS/"
XLINK = "http://www.w3.org/1999/xlink"
NAMESPACES = {"m": METS, "xlink": XLINK}


def document(content: str, attributes: str = 'xml:lang="en"') -> etree._Element:
    """A METS document around sections, comments and blanks included."""
    own = 'xmlns:o="https://example.org/own" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"'
    start = f'<mets xmlns="{METS}" xmlns:xlink="{XLINK}" {own} {attributes}>'
    return etree.fromstring(f"{start}{content}</mets>")


HEADER = """
<metsHdr ID="hdr" ADMID="rights-1" CREATEDATE="2026-03-09T12:00:00Z" LASTMODDATE="2026-03-10T08:30:00+01:00"
    RECORDSTATUS="complete" o:mark="x">
  <agent ID="ag-1" ROLE="CREATOR" TYPE="ORGANIZATION">
    <name>Aldermoor Library</name>
    <note>imaging unit</note>
    <note o:lang="la">officina</note>
  </agent>
  <agent ROLE="OTHER" OTHERROLE="proof-reader" TYPE="OTHER" OTHERTYPE="machine"><name/></agent>
  <agent ROLE="IPOWNER" TYPE="INDIVIDUAL"><name>R. Vance</name></agent>
  <altRecordID ID="alt-1" TYPE="shelfmark">Alm. B 14</altRecordID>
  <altRecordID>ALM-14</altRecordID>
  <metsDocumentID ID="doc-1" TYPE="file">alm-14.xml</metsDocumentID>
</metsHdr>
"""

DESCRIPTIONS = """
<dmdSec ID="dmd-1" GROUPID="g" ADMID="rights-1" CREATED="2026-03-09T12:00:00" STATUS="draft" o:mark="x">
  <mdWrap ID="wrap-1" MDTYPE="OTHER" OTHERMDTYPE="own" MDTYPEVERSION="1" LABEL="card" MIMETYPE="text/xml"
      SIZE="40" CREATED="2026-03-09T12:00:00.25Z" CHECKSUM="00" CHECKSUMTYPE="SHA-512">
    <xmlData><o:card>Album of the moor</o:card><!-- two --><o:card/></xmlData>
  </mdWrap>
</dmdSec>
<dmdSec ID="dmd-2">
  <mdRef ID="ref-1" LOCTYPE="OTHER" OTHERLOCTYPE="drawer" xlink:type="simple" xlink:href="card?n=14"
      xlink:role="r" xlink:arcrole="a" xlink:title="t" xlink:show="new" xlink:actuate="onRequest" MDTYPE="EAD"
      MIMETYPE="text/xml" SIZE="-1" CREATED="2026-03-09T12:00:00Z" CHECKSUM="00" CHECKSUMTYPE="Adler-32"
      LABEL="finding aid" XPTR="xpointer(id('a'))"/>
  <mdWrap MDTYPE="MARC"><binData>MDAwMDBu YW0=</binData></mdWrap>
</dmdSec>
<dmdSec ID="dmd-3"><mdWrap MDTYPE="DC"/><mdRef LOCTYPE="ARK" MDTYPE="DC"/></dmdSec>
<dmdSec ID="dmd-4"/>
"""

ADMINISTRATION = """
<amdSec ID="amd-1" o:mark="x">
  <techMD ID="tech-1"><mdWrap MDTYPE="NISOIMG"><xmlData><o:image/></xmlData></mdWrap></techMD>
  <techMD ID="tech-2" ADMID="rights-1 prov-1"><mdRef LOCTYPE="URN" MDTYPE="TEXTMD"/></techMD>
  <rightsMD ID="rights-1"><mdRef LOCTYPE="PURL" MDTYPE="METSRIGHTS" xlink:href="rights.xml"/></rightsMD>
  <sourceMD ID="source-1"><mdWrap MDTYPE="LC-AV"><binData/></mdWrap></sourceMD>
  <sourceMD ID="source-2"/>
  <digiprovMD ID="prov-1"><mdWrap MDTYPE="PREMIS:EVENT"><xmlData><o:event/></xmlData></mdWrap></digiprovMD>
</amdSec>
<amdSec/>
<amdSec><digiprovMD ID="prov-2"><mdWrap MDTYPE="ISO 19115:2003 NAP"/></digiprovMD></amdSec>
"""

FILES = """
<fileSec ID="files" o:mark="x">
  <fileGrp ID="grp-1" VERSDATE="2026-03-09T12:00:00Z" ADMID="prov-1 tech-1" USE="MASTER" o:mark="x">
    <fileGrp USE="IMAGE">
      <file ID="f-1" SEQ="1" MIMETYPE="image/tiff" SIZE="234319870" CREATED="2026-03-09T12:00:00Z"
          CHECKSUM="0a0b" CHECKSUMTYPE="SHA-256" OWNERID="B14_0001" ADMID="tech-1" DMDID="dmd-1 dmd-2"
          GROUPID="fr-1" USE="MASTER" BEGIN="0" END="99" BETYPE="BYTE" o:mark="x">
        <FLocat ID="loc-1" LOCTYPE="URL" USE="MASTER" xlink:type="simple" xlink:href="masters/B14_0001.tif"/>
        <FLocat LOCTYPE="HANDLE" OTHERLOCTYPE="no"/>
      </file>
      <file ID="f-2"/>
    </fileGrp>
    <fileGrp/>
  </fileGrp>
  <fileGrp USE="SOUND">
    <file ID="f-3" MIMETYPE="application/x-tape" GROUPID="fr-2">
      <FLocat LOCTYPE="DOI"/>
      <FContent ID="con-1" USE="copy"><binData>QWxkZXJtb29y</binData></FContent>
      <stream ID="str-1" streamType="sound" OWNERID="left" ADMID="tech-2" DMDID="dmd-1" BEGIN="0" END="9"
          BETYPE="BYTE"/>
      <stream/>
      <transformFile ID="tra-1" TRANSFORMTYPE="decompression" TRANSFORMALGORITHM="gzip" TRANSFORMORDER="1"/>
      <transformFile TRANSFORMTYPE="decryption" TRANSFORMALGORITHM="rot" TRANSFORMKEY="13" TRANSFORMORDER="2"
          TRANSFORMBEHAVIOR="beh-1"/>
      <file ID="f-4" OWNERID="inner"><file ID="f-5"><FContent/></file></file>
      <file ID="f-6"><FContent><xmlData><o:text>moor</o:text></xmlData></FContent></file>
    </file>
  </fileGrp>
</fileSec>
"""

STRUCTURES = """
<structMap ID="map-1" TYPE="PHYSICAL" LABEL="as bound" o:mark="x">
  <div ID="d-1" TYPE="album" LABEL="Album" ORDER="1" ORDERLABEL="i" DMDID="dmd-1 dmd-2" ADMID="rights-1"
      CONTENTIDS="https://example.org/a urn:x:b" xlink:label="d-1">
    <mptr ID="ptr-1" LOCTYPE="URL" xlink:href="volume-2.xml" CONTENTIDS="urn:x:v2"/>
    <mptr LOCTYPE="OTHER"/>
    <fptr ID="fp-1" FILEID="f-1" CONTENTIDS="urn:x:1" o:mark="x"/>
    <fptr/>
    <fptr>
      <area ID="area-1" FILEID="f-1" SHAPE="RECT" COORDS="0,0,100,100" BEGIN="a" END="b" BETYPE="IDREF"
          EXTENT="5" EXTTYPE="SMPTE-NDF29.97" ADMID="rights-1" CONTENTIDS="urn:x:2" ORDER="-3" ORDERLABEL="x"
          LABEL="initial" o:mark="x"/>
    </fptr>
    <fptr FILEID="f-3">
      <par ID="par-1" ORDER="1" ORDERLABEL="a" LABEL="picture and sound" o:mark="x">
        <area FILEID="f-1"/>
        <seq ID="seq-1" ORDER="1" ORDERLABEL="b" LABEL="in turn" o:mark="x">
          <area FILEID="f-3" BEGIN="00:00:01" BETYPE="TIME"/>
          <par><area FILEID="f-1"/></par>
          <area FILEID="f-3" EXTENT="9" EXTTYPE="BYTE" SHAPE="POLY"/>
        </seq>
        <seq/>
        <area FILEID="f-2" SHAPE="CIRCLE"/>
      </par>
    </fptr>
    <fptr><seq><par/><area FILEID="f-3" BETYPE="XPTR"/></seq></fptr>
    <div ID="d-2" TYPE="page"><div><fptr FILEID="f-2"/></div></div>
    <div ID="d-3"/>
  </div>
</structMap>
<structMap TYPE="LOGICAL"><div ID="l-1" xlink:label="l-1"><div ID="l-2"/></div></structMap>
<structMap><div/></structMap>
"""

LINKS = """
<structLink ID="links" o:mark="x">
  <smLink ID="sm-1" xlink:from="l-1" xlink:to="d-1" xlink:arcrole="a" xlink:title="t" xlink:show="embed"
      xlink:actuate="none"/>
  <smLinkGrp ID="smg-1" ARCLINKORDER="ordered" xlink:type="extended" xlink:role="r" xlink:title="t">
    <smLocatorLink ID="sml-1" xlink:type="locator" xlink:href="#l-2" xlink:label="l-2" xlink:role="r"
        xlink:title="t"/>
    <smLocatorLink xlink:href="#d-2"/>
    <smLocatorLink xlink:href="#d-3" xlink:label="d-3"/>
    <smArcLink ID="sma-1" xlink:type="arc" xlink:arcrole="a" xlink:title="t" xlink:show="other"
        xlink:actuate="onLoad" xlink:from="l-2" xlink:to="d-3" ARCTYPE="own" ADMID="rights-1"/>
    <smArcLink/>
  </smLinkGrp>
  <smLink xlink:from="l-2" xlink:to="d-2"/>
</structLink>
"""

BEHAVIOURS = """
<behaviorSec ID="behs" CREATED="2026-03-09T12:00:00Z" LABEL="what can be done" o:mark="x">
  <behaviorSec><behaviorSec/></behaviorSec>
  <behavior ID="beh-1" STRUCTID="d-1 d-2" BTYPE="unlock" CREATED="2026-03-09T12:00:00Z" LABEL="unlock"
      GROUPID="g" ADMID="rights-1">
    <interfaceDef ID="int-1" LABEL="what it does" LOCTYPE="URL" xlink:href="unlock.txt" xlink:show="replace"/>
    <mechanism ID="mec-1" LABEL="what does it" LOCTYPE="URN" xlink:href="urn:x:unlock"/>
  </behavior>
  <behavior><mechanism LOCTYPE="URL"/></behavior>
</behaviorSec>
<behaviorSec/>
"""

WHOLE = "".join([HEADER, DESCRIPTIONS, ADMINISTRATION, FILES, STRUCTURES, LINKS, BEHAVIOURS])
ROOT = 'ID="mets" OBJID="alm-14" LABEL="Album" TYPE="album" PROFILE="https://example.org/p" o:mark="x"'
BARE = "<structMap><div/></structMap>"


def whole() -> etree._Element:
    """A document with every element and every attribute of METS."""
    return document(WHOLE, ROOT)


def valid_documents() -> dict[str, etree._Element]:
    """Documents that METS allows, whole and in parts."""
    parts = {
        "nothing but a division": BARE,
        "an empty header": f"<metsHdr/>{BARE}",
        "a header": f"{HEADER}{BARE}",
        "descriptions": f"{DESCRIPTIONS}{BARE}",
        "administration": f"{ADMINISTRATION}{BARE}",
        "files": f"{FILES}{BARE}",
        "a group without files": f"<fileSec><fileGrp/></fileSec>{BARE}",
        "structures": STRUCTURES,
        "links": f"{BARE}{LINKS}",
        "behaviours": f"{BARE}{BEHAVIOURS}",
        "a document in a document": f'<dmdSec ID="a"><mdWrap MDTYPE="OTHER"><xmlData><mets>{BARE}</mets>'
        f"</xmlData></mdWrap></dmdSec>{BARE}",
        "a type that is named": '<structMap xsi:type="structMapType"><div xsi:type="divType"/></structMap>',
        "a reference to nothing": '<structMap><div ADMID="nowhere"><fptr FILEID="none"/></div></structMap>',
        "a blank in an address": '<structMap><div><mptr LOCTYPE="URL" xlink:href="a b"/></div></structMap>',
    }
    return {name: document(content) for name, content in parts.items()} | {"everything": whole()}

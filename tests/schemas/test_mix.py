"""Our schema of MIX 2.0: what it accepts, what it rejects, and that the publisher's says the same."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator

import pytest
from lxml import etree

from pipeline.specs import mix
from tests.describe.test_mix import everything
from tests.schemas.mutations import (
    FOREIGN,
    SCHEMAS,
    Element,
    agree,
    mutations,
    official_schema,
    our_schema,
    tally,
    words_of_schema,
)

SCHEMA = our_schema("mix")


def outlined(outline: str) -> Element:
    """The document of an outline: an element a line, two blanks a level, ``name = text`` for a value.

    A name that begins with a colon belongs to a foreign namespace.
    """
    open_elements: list[Element] = []
    for line in filter(str.strip, outline.splitlines()):
        name, _, text = line.strip().partition(" = ")
        made = etree.Element(_full_name(name))
        made.text = text or None
        depth = (len(line) - len(line.lstrip())) // 2
        if depth:
            open_elements[depth - 1].append(made)
        open_elements[depth:] = [made]
    return open_elements[0]


def _full_name(name: str) -> str:
    return f"{{{FOREIGN}}}{name[1:]}" if name.startswith(":") else f"{{{mix.NAMESPACE}}}{name}"


def local(element: Element) -> str:
    """The name without its namespace."""
    return str(element.tag).partition("}")[2]


def first(root: Element, name: str) -> Element:
    """The first element of a name in a document."""
    return next(root.iter(_full_name(name)))


def is_valid(root: Element) -> bool:
    """Whether our schema accepts the document that the elements are written to."""
    return bool(SCHEMA.validate(etree.fromstring(etree.tostring(root))))


def assert_valid(root: Element) -> None:
    """Fail with what our schema says of a document."""
    assert is_valid(root), str(SCHEMA.error_log)


# ------------------------------------------------------------------------------------------------- samples

# Every element of MIX 2.0 once, in the order of Z39.87; makers and figures are invented.
FULL = outlined("""
mix
  BasicDigitalObjectInformation
    ObjectIdentifier
      objectIdentifierType = local
      objectIdentifierValue = B14_0005
    fileSize = 234319870
    FormatDesignation
      formatName = image/tiff
      formatVersion = 6.0
    FormatRegistry
      formatRegistryName = PRONOM
      formatRegistryKey = fmt/353
    byteOrder = big endian
    Compression
      compressionScheme = house method
      compressionSchemeLocalList = https://example.org/methods
      compressionSchemeLocalValue = 17
      compressionRatio
        numerator = 19
        denominator = 10
    Fixity
      messageDigestAlgorithm = WHIRLPOOL
      messageDigest = 0a0b
      messageDigestOriginator = imaging unit
  BasicImageInformation
    BasicImageCharacteristics
      imageWidth = 5412
      imageHeight = 7216
      PhotometricInterpretation
        colorSpace = YCbCr
        ColorProfile
          IccProfile
            iccProfileName = Wide RGB for manuscripts
            iccProfileVersion = 2.4.0
            iccProfileURI = https://example.org/profiles/wide.icc
          LocalProfile
            localProfileName = house RGB
            localProfileURL = profiles/house.icc
          embeddedProfile = AAEC
        YCbCr
          YCbCrSubSampling
            yCbCrSubsampleHoriz = 4
            yCbCrSubsampleVert = 2
          yCbCrPositioning = 2
          YCbCrCoefficients
            lumaRed
              numerator = 299
              denominator = 1000
            lumaGreen
              numerator = 587
              denominator = 1000
            lumaBlue
              numerator = 114
              denominator = 1000
        ReferenceBlackWhite
          Component
            componentPhotometricInterpretation = Cb
            footroom
              numerator = 128
              denominator = 1
            headroom
              numerator = 255
              denominator = 1
    SpecialFormatCharacteristics
      JPEG2000
        CodecCompliance
          codec = Linnet encoder
          codecVersion = 3.1
          codestreamProfile = P1
          complianceClass = C2
        EncodingOptions
          Tiles
            tileWidth = 1024
            tileHeight = 1024
          qualityLayers = 12
          resolutionLevels = 6
      MrSID
        zoomLevels = 9
      Djvu
        djvuFormat = bundled
  ImageCaptureMetadata
    SourceInformation
      sourceType = codex, parchment
      SourceID
        sourceIDType = shelfmark
        sourceIDValue = MS B 14, f. 1r
      SourceSize
        SourceXDimension
          sourceXDimensionValue = 152
          sourceXDimensionUnit = mm
        SourceYDimension
          sourceYDimensionValue = 8.4
          sourceYDimensionUnit = in.
        SourceZDimension
          sourceZDimensionValue = 0
          sourceZDimensionUnit = mm
    GeneralCaptureInformation
      dateTimeCreated = 2026-03-09T10:11:12+01:00
      imageProducer = Imaging unit
      captureDevice = still from video
    ScannerCapture
      scannerManufacturer = Kestrelworks
      ScannerModel
        scannerModelName = Flatbed A2
        scannerModelNumber = A2-11
        scannerModelSerialNo = KW-7
      MaximumOpticalResolution
        xOpticalResolution = 1200
        yOpticalResolution = 2400
        opticalResolutionUnit = in.
      scannerSensor = OneChipColourArea
      ScanningSystemSoftware
        scanningSoftwareName = Flatbed Suite
        scanningSoftwareVersionNo = 4.1
    DigitalCameraCapture
      digitalCameraManufacturer = Kestrelworks
      DigitalCameraModel
        digitalCameraModelName = Merlin 150
        digitalCameraModelNumber = 150-B
        digitalCameraModelSerialNo = KW-20417
      cameraSensor = OneChipColorArea
      CameraCaptureSettings
        ImageData
          fNumber = 8
          exposureTime = 0.008
          exposureProgram = Manual
          spectralSensitivity = 940 nm
          isoSpeedRatings = 50
          oECF
            numerator = 1
            denominator = 2
          exifVersion = 0230
          shutterSpeedValue
            numerator = 7
            denominator = 1
          apertureValue
            numerator = 6
            denominator = 1
          brightnessValue
            numerator = -3
            denominator = 2
          exposureBiasValue
            numerator = -1
            denominator = 3
          maxApertureValue
            numerator = 3
            denominator = 1
          SubjectDistance
            distance = 1.25
            MinMaxDistance
              minDistance = 1.2
              maxDistance = 1.3
          meteringMode = Spot
          lightSource = D50
          flash = Flash did not fire
          focalLength = 120
          flashEnergy
            numerator = 500
            denominator = 1
          backLight = Backlight 2
          exposureIndex = 64
          sensingMethod = Trilinear sensor
          cfaPattern = -2
          autoFocus = Manual
          PrintAspectRatio
            xPrintAspectRatio = 3
            yPrintAspectRatio = 4
        GPSData
          gpsVersionID = 2.3.0.0
          gpsLatitudeRef = N
          GPSLatitude
            degrees
              numerator = 51
              denominator = 1
            minutes
              numerator = 30
              denominator = 1
            seconds
              numerator = 25
              denominator = 2
          gpsLongitudeRef = W
          GPSLongitude
            degrees
              numerator = 1
            minutes
            seconds
          gpsAltitudeRef = Sea level
          gpsAltitude
            numerator = 44
            denominator = 1
          gpsTimeStamp = 10:11:12
          gpsSatellites = 4, 9, 17
          gpsStatus = A
          gpsMeasureMode = 3-dimensional measurement
          gpsDOP
            numerator = 2
            denominator = 1
          gpsSpeedRef = N
          gpsSpeed
            numerator = 0
            denominator = 1
          gpsTrackRef = T
          gpsTrack
            numerator = 90
            denominator = 1
          gpsImgDirectionRef = M
          gpsImgDirection
            numerator = 180
            denominator = 1
          gpsMapDatum = WGS-84
          gpsDestLatitudeRef = S
          GPSDestLatitude
            degrees
              numerator = 2
              denominator = 1
          gpsDestLongitudeRef = E
          GPSDestLongitude
            seconds
              numerator = 2
              denominator = 1
          gpsDestBearingRef = T
          gpsDestBearing
            numerator = 10
            denominator = 1
          gpsDestDistanceRef = K
          gpsDestDistance
            numerator = 3
            denominator = 1
          gpsProcessingMethod = GPS
          gpsAreaInformation = reading room
          gpsDateStamp = 2026-03-09
          gpsDifferential = Differential correction applied
    orientation = normal, rotated 180°
    methodology = cradle at 100 degrees, glass
  ImageAssessmentMetadata
    SpatialMetrics
      samplingFrequencyPlane = source object plane
      samplingFrequencyUnit = cm
      xSamplingFrequency
        numerator = 2362
        denominator = 10
      ySamplingFrequency
        numerator = 2362
        denominator = 10
    ImageColorEncoding
      BitsPerSample
        bitsPerSampleValue = 16
        bitsPerSampleUnit = floating point
      samplesPerPixel = 4
      extraSamples = range or depth data
      Colormap
        colormapReference = maps/house.map
        embeddedColormap = AQIDBA==
      GrayResponse
        grayResponseCurve = 0
        grayResponseUnit = Number represents tenths of a unit
      WhitePoint
        whitePointXValue
          numerator = 3457
          denominator = 10000
        whitePointYValue
          numerator = 3585
          denominator = 10000
      PrimaryChromaticities
        primaryChromaticitiesRedX
          numerator = 64
          denominator = 100
        primaryChromaticitiesRedY
          numerator = 33
          denominator = 100
        primaryChromaticitiesGreenX
          numerator = 30
          denominator = 100
        primaryChromaticitiesGreenY
          numerator = 60
          denominator = 100
        primaryChromaticitiesBlueX
          numerator = 15
          denominator = 100
        primaryChromaticitiesBlueY
          numerator = 6
          denominator = 100
    TargetData
      targetType = internal
      TargetID
        targetManufacturer = Hueworks
        targetName = 24-patch colour target
        targetNo = T-0093
        targetMedia = matt paint
      externalTarget = targets/B14_T001.tif
      performanceData = https://example.org/measured/B14_T001.json
  ChangeHistory
    ImageProcessing
      dateTimeProcessed = 2026-03
      sourceData = raw file
      processingAgency = Imaging unit
      processingRationale = legibility
      ProcessingSoftware
        processingSoftwareName = Exporter
        processingSoftwareVersion = 3.1
        processingOperatingSystemName = workstation
        processingOperatingSystemVersion = 12
      processingActions = sharpened
    PreviousImageMetadata
      :old
        :width = 10
  Extension
    :more = of the house
""")

SCANNED = outlined("""
mix
  BasicDigitalObjectInformation
    ObjectIdentifier
      objectIdentifierType = local
      objectIdentifierValue = B14_0005
    ObjectIdentifier
      objectIdentifierType = URN
      objectIdentifierValue = urn:example:b14:5
    Compression
      compressionScheme = Deflate
    Compression
      compressionScheme = Uncompressed
    Fixity
      messageDigestAlgorithm = MD5
      messageDigest = 0a
    Fixity
      messageDigestAlgorithm = Adler-32
      messageDigest = 0b
  BasicImageInformation
    BasicImageCharacteristics
      PhotometricInterpretation
        ReferenceBlackWhite
          Component
            componentPhotometricInterpretation = Y
            footroom
            headroom
          Component
            componentPhotometricInterpretation = Cr
            footroom
              denominator = 0
            headroom
              numerator = -1
        ReferenceBlackWhite
  ImageCaptureMetadata
    SourceInformation
      SourceID
        sourceIDType = shelfmark
      SourceID
        sourceIDValue = msb-014
    GeneralCaptureInformation
      dateTimeCreated = 2026
      imageProducer = Imaging unit
      imageProducer = R. Vance
      captureDevice = transmission scanner
    ScannerCapture
      MaximumOpticalResolution
        xOpticalResolution = 4800
        opticalResolutionUnit = no absolute unit
      scannerSensor = ColorTriLinear
  ImageAssessmentMetadata
    ImageColorEncoding
      BitsPerSample
        bitsPerSampleValue = 8
        bitsPerSampleValue = 8
        bitsPerSampleValue = 8
        bitsPerSampleUnit = integer
      extraSamples = unassociated alpha data
      extraSamples = unspecified data
      GrayResponse
        grayResponseCurve = 0
        grayResponseCurve = 5
        grayResponseCurve = 9
      WhitePoint
      WhitePoint
      PrimaryChromaticities
      PrimaryChromaticities
    TargetData
      targetType = external
      targetType = internal
      TargetID
        targetName = step wedge
      TargetID
        targetName = resolution chart
      externalTarget = a.tif
      externalTarget = b.tif
      performanceData = a.json
      performanceData = b.json
  ChangeHistory
    ImageProcessing
      dateTimeProcessed = 2026-03-09Z
      processingAgency = Imaging unit
      processingAgency = Aldermoor Library
      ProcessingSoftware
        processingSoftwareName = Exporter
      ProcessingSoftware
        processingSoftwareName = Sharpener
      processingActions = cropped
      processingActions = sharpened
    ImageProcessing
    PreviousImageMetadata
    PreviousImageMetadata
      :old
      mix
        fileSize = none
  Extension
    :more
    imageWidth = none
  Extension
    :more
""")

EMPTY = outlined("mix")

HAND_MADE = {"full": FULL, "scanned": SCANNED, "empty": EMPTY}
EMITTED = dict(enumerate(everything()))

"""What a layer or block name says about its contents, in the languages drawings are made in.

Names are split into tokens (letters between punctuation, digits, camel case), accents are removed,
and a token says something when it *is* a known word, or begins or ends with a known stem that is
long enough to be safe in compounds (`Innenwand`, `Wohnungstuer`, `tussenmuur`). Only the part of a
layer name after the last `$` or `|` counts: the rest names a reference drawing.

The words come from public layer schemes (US National CAD Standard / AIA discipline-major codes
such as A-WALL, A-DOOR, A-AREA; ISO 13567 with element codes that offices fill with words; the
names that offices use in their own language), listed from memory. A name is evidence only: the
finders use it to prefer or to leave out, geometry decides where no name helps, hints over both.
"""

from __future__ import annotations

import re
from enum import Enum
from functools import lru_cache
from typing import Final

from importer.hints import bare_layer
from importer.room_words import plain


class About(Enum):
    """What a name can be about."""

    WALL = "wall"
    DOOR = "door"
    WINDOW = "window"
    ROOM = "room"
    FLAT = "flat"
    STAIR = "stair"
    COLUMN = "column"
    SHAFT = "shaft"
    FIXED_UNIT = "fixed unit"
    FURNITURE = "furniture"
    SANITARY = "sanitary"
    MEASURE = "measure"
    """Dimensions, grids, axes."""
    ANNOTATION = "annotation"
    BEYOND = "beyond"
    """Building parts that are not walls standing on this floor: footings, roofs, beams, site."""


_MIN_STEM: Final = 4
"""Shorter words count only as whole tokens: `wc`, `tur`, `mur` inside others mean nothing."""

_WORDS: Final[dict[About, str]] = {
    About.WALL: """
        wall walls prtn partition partitions muro muros mur murs muri muretto pared paredes tabique
        tabiques cloison cloisons mauer mauern mauerwerk wand wande waende trennwand parete pareti
        tramezzo tramezzi parede paredes alvenaria divisoria muur muren wanden sciana sciany
        scianka stena steny стена стены стенами перегородка перегородки перегородок
        vagg vaggar vegg vegger vaeg vaegge seina seinat fal falak zid zidovi perete pereti
        duvar duvarlar τοιχος τοιχοι 壁 墙 墙体 墻 wal wll masonry drywall brick concrete stud
        placo maconnerie macon tramezzature pregrada priecka pricky nosne
    """,
    About.DOOR: """
        doorswindows door doors dr drs
        puerta puertas porte portes porta porte porti tur tuer turen tueren
        deur deuren drzwi dvere dveri дверь двери дверей дверной ajto ajtok usa usi dorr dorrar
        dor doer dorer ovi ovet vrata kapi kapilar πορτα πορτες ドア 扉 建具 门 門 gate garagedoor
        doorswing swing turblatt tuerblatt turoffnung huisserie huisseries menuiserie menuiseries
        schiebetur haustur innentur zimmertur drehtur falttur aussentur eingangstur balkontur
        terrassentur glastur doppeltur wohnungstur brandschutztur sldr sgd tofldor skjutdorr
    """,
    About.WINDOW: """
        doorswindows window windows win glaz glazing glass glas glazed
        ventana ventanas vidrio cristal fenetre
        fenetres vitrage vitrages baie baies fenster verglasung finestra finestre vetro vetrata vetrate
        vetri janela janelas vidro raam ramen kozijn kozijnen beglazing okno okna szyba okenni
        окно окна окон остекление витраж fonster vindu vinduer vindue vinduer ikkuna ikkunat ablak
        ablakok fereastra ferestre prozor prozori pencere παραθυρο 窓 窗 cancel canceleria curtain
        wdw wind wndw crystal crystals mullion mullions storefront
    """,
    About.ROOM: """
        area areas room rooms rm space spaces raum raume raeume raumflache raumpolygon zimmer
        nutzflache flache flaeche zone zones piece pieces local locaux surface surfaces habitacion
        habitaciones estancia estancias recinto recintos superficie superficies stanza stanze
        locale locali vano vani ambiente ambientes ambienti sala compartimento compartimentos
        ruimte ruimtes ruimten vertrek vertrekken oppervlakte pomieszczenie pomieszczenia
        powierzchnia mistnost mistnosti plocha plochy помещение помещения помещений площадь площади
        комната комнаты rum rummen huone huoneet tila tilat rom romareal helyiseg helyisegek
        incapere incaperi prostor prostori prostorija oda odalar mahal χωρος χωροι 部屋 室 房间 房間
        nua nia nga netarea roomarea roombound roomboundary polyroom ngf nrf
    """,
    About.FLAT: """
        flat flats unit units suite suites apartment apartments apt apts apartamento apartamentos
        piso pisos vivienda viviendas wohnung wohnungen wohneinheit whg appartement appartements
        appart logement logements appartamento appartamenti alloggio alloggi fracao fracoes fogo
        woning woningen wooneenheid mieszkanie mieszkania lokal byt byty bytu квартира квартиры
        квартир lagenhet lagenheter leilighet leiligheter lejlighed lejligheder asunto huoneisto
        lakas lakasok apartament apartamente stan stanovi daire daireler διαμερισμα dwelling
        dwellings tenancy
    """,
    About.STAIR: """
        stair stairs strs stairway stairwell staircase escalera escaleras escalier escaliers treppe
        treppen treppenhaus scala scale escada escadas trap trappen schody schodiste лестница
        лестницы trappa trappor trapp portaat lepcso scara scari stepenice stubiste merdiven σκαλα
        階段 楼梯 樓梯 step steps tread treads ramp ramps rampe rampa
    """,
    About.COLUMN: """
        column columns colm cols pillar pillars pilar pilares poteau poteaux pilier piliers stutze
        stuetze stutzen stuetzen saule saulen pilastro pilastri colonna colonne kolom kolommen slup
        slupy sloup sloupy колонна колонны pelare sojle soyle pilari pilarit oszlop stalp stalpi
        stup stupovi kolon kolonlar 柱 柱子 coluna colunas columna columnas post posts
    """,
    About.SHAFT: """
        shaft shafts riser risers duct ducts chase schacht schachte schaechte installationsschacht
        gaine gaines conducto conductos patinillo patinillos cavedio cavedi vano_tecnico courette
        courettes leidingschacht szyb szyby szacht sachta sachty шахта шахты schakt sjakt hormi
        akna ghena ghene baca evtr elevator elevators lift lifts aufzug aufzuege ascenseur ascensor
        ascensore elevador лифт лифты hiss heis chimney flue kamin schornstein cheminee chimenea
        camino komin дымоход
    """,
    About.FIXED_UNIT: """
        case casework cabinet cabinets cab counter counters countertop millwork kitchen kitchens kuche
        kueche kuchen einbauschrank cuisine cuisines cocina cocinas cucina cucine cozinha cozinhas
        keuken kuchnia kuchyn kuchynska кухня kok kjokken kokken keittio konyha bucatarie kuhinja
        mutfak builtin builtins island worktop placard placards wardrobe closetunit encimera
        flrcase fireplace hearth stove ofen
    """,
    About.FURNITURE: """
        furniture furn furnishing furnishings mueble muebles mobiliario moebel mobel moblierung
        moeblierung mobilier meuble meubles arredo arredi arredamento mobili mobilia moveis
        mobiliario meubel meubels meubilair meble nabytek мебель mobler moblement inredning kaluste
        kalusteet butor butorok mobila namestaj mobilya επιπλα 家具 equipment equip equipos appliance
        appliances appl plants tree trees vegetation arbol baum baume arbre person people car cars
        vehicle vehicles auto autos
    """,
    About.SANITARY: """
        sanitary sanitaries sanit san plumbing plumb fixt fixture fixtures plfx flrfixt sanitario
        sanitarios sanitaer sanitar sanitaire sanitaires sanitari idrosanitari loucas loica
        louca sanitair sanitariaty sanita сантехника сантехприборы sanitet sanitets wc toilet
        toilets lav lavs tub tubs shwr shr cubicle lavabo basin bath bathtub bathroom
        shower dusche badewanne waschbecken douche
        baignoire ducha banera inodoro doccia vasca lavandino umywalka wanna sink 衛生 洁具
    """,
    About.MEASURE: """
        dim dims dimension dimensions cota cotas cotation cotations cote cotes mass masse massen
        bemassung bemaszung quota quote quotatura quotature maat maatvoering maten wymiar wymiary
        kota koty koten размер размеры matt mitat meret cotare olcu grid grids gitter raster achse
        achsen axe axes eje ejes asse assi eixo eixos os osie ось оси axis centerline centreline
        cntr
    """,
    About.ANNOTATION: """
        anno annotation annotations text texts txt texto textos texte textes testo testi tekst
        teksten teksty тексты текст beschriftung note notes nota notas noten tag tags iden ident
        title titleblock ttlb tblk border cartouche plankopf schriftfeld squadro cartiglio cajetin
        legend legende leyenda legenda hatch hatching hatchings patt pattern schraffur schraffuren
        hachure hachures sombreado trama tramas tratteggio retino retini hachura arcering
        kreskowanie srafa srafy штриховка skraffering sectionmark viewport vport defpoints north
        revision rev leader leaders keynote keynotes floorfinish flooring tile tiles tiling
        tilework fliesen parkett carrelage pavimento pavimenti paving bodenbelag gross gfa gia gea
        bgf brutto
    """,
    About.BEYOND: """
        footer footing foot footprint foundation fndn found stem beam beams header headers joist joists
        rafter rafters roof roofs dach dacher toit toiture techo cubierta tetto telhado dak dach
        strecha крыша кровля tak katto projection proyeccion projecao above overhead ovhd hidden
        ceiling clng decke plafond cielo soffitto teto plafonds plafond sufit strop потолок site
        topo topography contour contours kerb curb road street strasse rue calle via property plot
        parcel fire hvac elec electrical light lighting lite lites power data drain drainage pipe
        pipes sprinkler demo demolition abbruch existing_removed
    """,
}

_SHORT_STEMS: Final = frozenset({"wand", "wall", "door", "deur", "tuer", "muur", "raum"})


def _table() -> dict[str, frozenset[About]]:
    table: dict[str, set[About]] = {}
    for about, words in _WORDS.items():
        for word in words.split():
            table.setdefault(plain(word), set()).add(about)
    return {word: frozenset(abouts) for word, abouts in table.items()}


_TABLE: Final = _table()
_CAMEL: Final = re.compile(r"(?<=[a-zà-ÿа-я])(?=[A-ZÀ-ÞА-Я])")
_SPLIT: Final = re.compile(r"[\W\d_]+", re.UNICODE)


@lru_cache(maxsize=4096)
def tokens(name: str) -> tuple[str, ...]:
    """Words of a layer or block name, in order, lower case, without accents.

    >>> tokens("plan$0$A-WALL-INTR")
    ('a', 'wall', 'intr')
    >>> tokens("02_InnenWände")
    ('innen', 'wande')
    """
    spaced = _CAMEL.sub(" ", bare_layer(name))
    return tuple(t for t in _SPLIT.split(plain(spaced)) if t)


@lru_cache(maxsize=4096)
def says(name: str) -> frozenset[About]:
    """Everything a layer or block name is about; empty when it means nothing to us."""
    found: set[About] = set()
    for token in tokens(name):
        found |= _TABLE.get(token, frozenset()) or _by_compound(token)
    return frozenset(found)


def _by_compound(token: str) -> frozenset[About]:
    """Meaning of a compound from its head: its longest known ending, else its longest beginning."""
    for size in range(len(token) - 1, _MIN_STEM - 1, -1):
        if size > _MIN_STEM or token[-size:] in _SHORT_STEMS:
            ending = _TABLE.get(token[-size:])
            if ending:
                return ending
    for size in range(len(token) - 1, _MIN_STEM - 1, -1):
        if size > _MIN_STEM or token[:size] in _SHORT_STEMS:
            beginning = _TABLE.get(token[:size])
            if beginning:
                return beginning
    return frozenset()


_WRITING: Final = frozenset({About.ANNOTATION, About.MEASURE})
_IGNORED: Final = _WRITING | {About.BEYOND, About.FURNITURE, About.SANITARY}


def is_wall_name(name: str) -> bool:
    """The name says wall or partition, and nothing that would make it something else."""
    about = says(name)
    others = _IGNORED | {About.WINDOW, About.DOOR, About.ROOM}
    return About.WALL in about and not about & others


def is_door_name(name: str) -> bool:
    """The name says door or gate, and is not a tag, text or dimension of one."""
    about = says(name)
    return About.DOOR in about and not about & _WRITING


def is_window_name(name: str) -> bool:
    """The name says window or glazing, and is not a tag, text or dimension of one."""
    about = says(name)
    return About.WINDOW in about and not about & _WRITING


def is_room_name(name: str) -> bool:
    """The name says room outlines, as A-AREA or Raumpolygon; not their hatching or tags."""
    about = says(name)
    others = {About.WALL, About.FLAT} | _IGNORED
    return About.ROOM in about and not about & others


def is_flat_name(name: str) -> bool:
    """The name says outlines of flats, suites, units."""
    about = says(name)
    others = {About.WALL, About.FURNITURE, About.FIXED_UNIT, About.DOOR, About.WINDOW}
    return About.FLAT in about and not about & others


def is_ignored_name(name: str) -> bool:
    """The name says that nothing of it bounds a room: dimensions, texts, grids, hatching,
    furniture, sanitary symbols, roofs, footings, the site. Stairs and columns are not among them.
    """
    return bool(says(name) & _IGNORED)


def is_measure_name(name: str) -> bool:
    """The name says dimensions, grids or axes: its texts are no labels."""
    return About.MEASURE in says(name)


def is_slatted(name: str) -> bool:
    """The name says stairs or ramps: many parallel strokes that are not walls."""
    return About.STAIR in says(name)

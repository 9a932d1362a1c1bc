"""Words that name rooms, communal space and titles, in the languages drawings are made in.

Listed from memory. They are evidence, never a gate: a text in the drawing's label style is a room
name whatever it says; a known word helps to find that style.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

_UNSPLIT: Final = str.maketrans(
    {"ß": "ss", "\u00f8": "o", "\u0142": "l", "\u00e6": "ae", "\u0131": "i"}
)
"""Letters that no Unicode decomposition takes apart: o with stroke, l with stroke, ae, dotless i."""


def plain(text: str) -> str:
    """Lower case, without accents and ligatures; letters of other scripts stay as they are."""
    parts = unicodedata.normalize("NFKD", text.casefold().translate(_UNSPLIT))
    return "".join(c for c in parts if not unicodedata.combining(c))


def words(text: str) -> frozenset[str]:
    """The words of a list written as text, plain."""
    return frozenset(plain(word) for word in text.split())


ROOM_WORDS: Final = words("""
    st living lounge sitting family great room dining kitchen kitchenette pantry larder scullery
    bedroom bed bdrm br mbr master guest nursery dressing wardrobe closet clo wic bath bathroom
    ensuite shower toilet toil powder wc lav lavatory washroom restroom utility util laundry storage
    store stor study office den library hall hallway entry entrance foyer vestibule porch lobby corridor
    passage landing stair stairs garage carport deck patio balcony terrace veranda loggia attic
    cellar basement boiler plant mechanical mech elec electrical closet janitor lift elevator elev gym
    meeting conference reception canteen classroom workshop kiosk shop bar sauna pool media tv mudroom
    nook loft gallery studio parlour playroom
    wohnzimmer wohnen wohnraum wohnkuche esszimmer essen essplatz kuche kueche kochen schlafzimmer
    schlafen eltern kind kinder kinderzimmer gast gastezimmer zimmer raum arbeitszimmer arbeiten buro
    buero bad badezimmer dusche duschbad du gaste-wc flur diele gang windfang eingang vorraum vorzimmer
    garderobe abstellraum abstellkammer abst ar hwr hauswirtschaftsraum hauswirtschaft waschkuche
    keller kellerraum heizung heizraum technik technikraum balkon terrasse loggia treppenhaus treppe
    tr th speis speisekammer ankleide galerie dachboden spitzboden werkstatt lager aufzug podest
    laubengang hobbyraum tiefgarage mullraum
    salon sejour salle cuisine chambre chambres bureau entree hall couloir degagement palier sdb sdd
    douche bains toilettes cellier buanderie dressing placard garage cave terrasse balcon veranda
    escalier rangement local chaufferie grenier mezzanine sas vestiaire
    comedor cocina dormitorio alcoba habitacion recamara bano aseo pasillo recibidor vestibulo
    distribuidor lavadero tendedero trastero despensa despacho garaje cochera terraza balcon galeria
    escalera sotano zaguan estar estudio vestidor porche
    soggiorno pranzo cucina angolo cottura camera letto cameretta bagno antibagno corridoio disimpegno
    ingresso ripostiglio lavanderia studio cantina balcone terrazzo veranda scala scale garage soffitta
    cabina guardaroba tinello atrio androne
    sala estar jantar cozinha quarto suite dormitorio banheiro banho lavabo corredor circulacao
    hall entrada despensa lavandaria varanda garagem escritorio copa closet servico escada
    woonkamer keuken eetkamer slaapkamer badkamer hal gang toilet berging bijkeuken zolder kelder
    kantoor werkkamer balkon terras garage trap overloop entree meterkast inloopkast technische
    pokoj pokoje salon kuchnia jadalnia sypialnia lazienka wc przedpokoj korytarz hol garderoba
    spizarnia garaz kotlownia pralnia gabinet balkon taras klatka schodowa komorka piwnica wiatrolap
    obyvaci pokoj kuchyn kuchyne loznice koupelna chodba predsin zadveri komora sklep satna jidelna
    detsky pracovna spiz schodiste terasa
    гостиная кухня столовая спальня детская кабинет ванная туалет санузел прихожая холл коридор
    тамбур кладовая гардеробная балкон лоджия терраса гараж котельная постирочная комната жилая
    лестница подвал душевая вестибюль лестничная
    vardagsrum kok matplats sovrum badrum hall tvatt klk forrad bad wc dusch trapphus balkong
    stue kjokken soverom bad bod gang entre vaskerom trapperom spisestue vaerelse bryggers badevaerelse
    kokken olohuone keittio makuuhuone kylpyhuone eteinen sauna khh parveke vaatehuone pesuhuone porras
    nappali konyha haloszoba furdo furdoszoba eloszoba kozlekedo kamra terasz etkezo szoba
    camera dormitor bucatarie baie hol living terasa dressing debara
    dnevni boravak kuhinja kupaonica kupatilo spavaca soba hodnik predsoblje ostava terasa
    salon mutfak banyo yatak odasi hol antre koridor balkon wc kiler
    σαλονι κουζινα υπνοδωματιο λουτρο μπανιο χωλ διαδρομος αποθηκη καθιστικο
    居間 台所 寝室 浴室 洗面所 玄関 廊下 便所 押入 和室 洋室 客厅 厨房 卧室 卫生间 阳台 走廊 餐厅 书房
    主卧
    次卧 厕所 储藏室
""") | {"\u0441/\u0443"}

COMMUNAL_WORDS: Final = words("""
    corridor lobby stairwell stairwells staircase stairs stair st elevator elev lift communal common
    core circulation treppenhaus treppe aufzug laubengang gemeinschaft fahrrad fahrradraum mullraum
    muellraum palier escalier ascenseur parties communes local-velos rellano escalera ascensor zaguan
    pianerottolo scala scale vano-scala ascensore androne escada elevador patamar trappenhuis trap
    lift klatka schodowa winda schodiste vytah лестница лестничная лифт вестибюль лифтовый trapphus
    hiss trapperom heis porras hissi lepcsohaz stubiste merdiven asansor κλιμακοστασιο 階段 楼梯
""")

STRONG_COMMUNAL: Final = words("""
    lobby stairwell stairwells elevator elev lift communal common treppenhaus aufzug laubengang
    mullraum muellraum ascenseur communes rellano ascensor pianerottolo ascensore androne elevador
    patamar trappenhuis winda klatka vytah лестничная лифт лифтовый trapphus hiss trapperom heis hissi
    lepcsohaz stubiste merdiven asansor κλιμακοστασιο
""")
"""Communal words that no flat has inside it; `stair` or `corridor` may well be in a house."""

OUTDOOR_WORDS: Final = words("""
    deck patio balcony terrace veranda porch garden yard courtyard carport driveway balkon terrasse
    terrassen garten hof vorplatz balcon jardin cour patio terraza jardin balcone terrazzo giardino
    cortile varanda jardim quintal terras tuin taras ogrod terasa zahrada балкон терраса крыльцо
    balkong terrass parveke terassi terasz erkely 阳台 ベランダ バルコニー
""")

KITCHENS: Final = words("""
    kitchen kitchenette kuche kueche wohnkuche kochen cuisine cocina cucina cozinha keuken kuchnia
    kuchyn kuchyne кухня kok kjokken keittio konyha bucatarie kuhinja mutfak κουζινα 厨房 台所
""")
BATHS: Final = words("""
    bath bathroom shower ensuite wc toilet bad badezimmer dusche duschbad bains douche sdb toilettes
    bano aseo bagno banheiro badkamer lazienka koupelna ванная санузел душевая badrum baderom
    kylpyhuone furdo furdoszoba baie kupaonica kupatilo banyo λουτρο μπανιο 浴室 卫生间
""")

NOTE_WORDS: Final = words("""
    plan floorplan plans scale section elevation detail details note notes see min max typ typical drawn
    checked date project client sheet rev revision north projection total gross overall units generated
    provide refer verify existing demolish above below line lines clear ceiling roof structure level
    grundriss schnitt ansicht massstab mastab plannummer datum bauvorhaben bauherr gesamt summe
    architekt blatt plannr echelle coupe facade dessin dessine projet escala planta corte seccion alzado
    proyecto plano scala pianta sezione prospetto progetto tavola schaal tekening doorsnede gevel
    skala rzut przekroj elewacja meritko pudorys rez pohled масштаб план разрез фасад проект лист
    legend legende leyenda legenda www
    url copyright type typ parquet parkett carpet tiles tile fliesen laminate laminat vinyl vinyle
    parchet carrelage moquette estrich concrete beton screed
    north window windows door doors ceil sill rail railing shear panel gypsum stud studs header headers
    beam column dn up down auf ab
""")
"""Words that stand in notes, titles, tags and finishes, and hardly ever in the name of a room."""

TITLE_WORDS: Final = words("""
    plan floorplan plans section elevation detail details grundriss schnitt ansicht massstab coupe
    facade alzado planta pianta prospetto sezione plattegrond doorsnede gevel rzut przekroj elewacja
    pudorys rez pohled масштаб план разрез фасад scale schedule legend legende projection
    floor floors storey stories geschoss erdgeschoss obergeschoss untergeschoss kellergeschoss
    dachgeschoss etage niveau verdieping bouwlaag pietro podlazi этаж етаж etaj
""")

_SPLIT: Final = re.compile(r"[\s,;:.()\[\]\"'/\\+&_-]+")


def words_of(text: str) -> tuple[str, ...]:
    """Words of a text, plain, without digits at their ends."""
    parts = (part.strip("0123456789#") for part in _SPLIT.split(plain(text)))
    return tuple(part for part in parts if part)


def names_a_room(text: str) -> bool:
    """A word of the text is a known word for a room.

    >>> names_a_room("MSTR. BATH"), names_a_room("K\u00fcche 2"), names_a_room("GAS")
    (True, True, False)
    """
    words = words_of(text)
    return any(w in ROOM_WORDS for w in words) or plain(text).strip() in ROOM_WORDS


_FLAT: Final = re.compile(
    r"^(?:flat|apartment|apt|unit|suite|wohnung|whg|we|wohneinheit|top|appartement|appart|logement|"
    r"lot|piso|vivienda|departamento|depto|dpto|appartamento|alloggio|interno|apartamento|fracao|"
    r"woning|mieszkanie|lokal|byt|квартира|кв|lagenhet|lgh|leilighet|asunto|lakas|apartament|stan|"
    r"daire)\b\.?\s*(?:nr|no|n|num)?[.#\s-]*(?:[a-z]{0,2}[-.]?\d{1,4}(?:[.\-/]\d{1,3})*[a-z]?|[a-z])$"
)


def names_a_flat(text: str | None) -> bool:
    """The text names a whole dwelling.

    >>> names_a_flat("Flat 3"), names_a_flat("Wohnung 2.01"), names_a_flat("Unit B")
    (True, True, True)
    >>> names_a_flat("Flat"), names_a_flat("Top floor"), names_a_flat("Kitchen 2")
    (False, False, False)
    """
    return text is not None and bool(_FLAT.match(plain(text).strip()))


def is_communal(text: str, *, strong: bool = False) -> bool:
    """The text names space that belongs to no flat."""
    known = STRONG_COMMUNAL if strong else COMMUNAL_WORDS
    return any(w in known for w in words_of(text))


def is_outdoor(text: str) -> bool:
    """The text names a balcony, terrace or yard."""
    return any(w in OUTDOOR_WORDS for w in words_of(text))


def is_title(text: str) -> bool:
    """The text holds a word that makes it the title of a view, whatever room it shows."""
    return any(w in TITLE_WORDS for w in words_of(text))


def is_note(text: str) -> bool:
    """The text holds a word of notes and titles and no room word."""
    words = words_of(text)
    return any(w in NOTE_WORDS for w in words) and not any(w in ROOM_WORDS for w in words)

package sheet

import (
	"fmt"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

// words is the language that a sheet is written in.
type words struct {
	Language string
	locale   *templates.Localizer
	texts    *templates.Set
}

// inLanguage is the one asked for, else the library's first one.
func inLanguage(lang string, r *rules.Rules) (words, error) {
	known := []string{"en", "fr", "es"}
	if lang != "" && !slices.Contains(known, lang) {
		return words{}, fmt.Errorf("the language %q is not known; there are: %s", lang, strings.Join(known, ", "))
	}
	if lang == "" && len(r.Library.Languages) > 0 {
		lang = r.Library.Languages[0]
	}
	return words{lang, templates.DefaultBook().In(lang, r.Prices.Locale, r.Prices.Currency), templates.Default()}, nil
}

// Say puts words of the sheet, with what is filled into them, into its language.
func (w words) Say(text string, args ...any) string {
	if said, ok := sheetSaid[text]; ok {
		switch w.Language {
		case "fr":
			text = said[0]
		case "es":
			text = said[1]
		}
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

// found tells what the check found: in English in its own words, else as patrons
// are told.
func (w words) found(findings []job.Finding) []string {
	var out []string
	for _, f := range findings {
		text := f.Text
		if w.Language != "en" {
			if told, err := draft.Told(w.texts, w.locale, f); err == nil {
				text = told
			}
		}
		out = append(out, plain.Capital(plain.OneLine(text)))
	}
	return out
}

// sheetSaid is the sheet's own words in French and Spanish.
var sheetSaid = map[string][2]string{
	"job sheet": {"fiche d’impression", "hoja de trabajo"},
	"The part as it goes onto the printer, with its sizes": {"La pièce telle qu’elle va sur l’imprimante, avec ses dimensions", "La pieza tal como va a la impresora, con sus medidas"},
	"For %s":                {"Pour %s", "Para %s"},
	"To be collected at %s": {"À retirer : %s", "Se recoge en: %s"},
	"Needed by %s":          {"Pour le %s au plus tard", "Para el %s a más tardar"},
	"Which way up":          {"Dans quel sens", "En qué posición"},
	"Print from %s, which stands this way up on the bed.": {"Imprimez à partir de %s, où la pièce est déjà posée dans ce sens.", "Imprima a partir de %s, donde la pieza ya está en esta posición."},
	"No mended part:":                   {"Pas de pièce réparée :", "No hay pieza reparada:"},
	"Print from the patron's own file.": {"Imprimez à partir du fichier de l’usager.", "Imprima a partir del archivo del usuario."},
	"What was done to the file":         {"Ce qui a été fait au fichier", "Lo que se hizo con el archivo"},
	"What the check found":              {"Ce que la vérification a montré", "Lo que mostró la revisión"},
	"Cautions":                          {"Précautions", "Precauciones"},
	"hours":                             {"heures", "horas"},
	"grams":                             {"grammes", "gramos"},
	"printed by":                        {"imprimé par", "impreso por"},
	"shelf":                             {"étagère", "estante"},

	"The way it was sent.":                                {"Comme dans le fichier.", "Como venía en el archivo."},
	"Another way up than it was sent, as in the picture.": {"Autrement que dans le fichier, comme sur l’image.", "De otro modo que en el archivo, como en la imagen."},
	"and %d more: meshclerk jobs show %s":                 {"et %d de plus : meshclerk jobs show %s", "y %d más: meshclerk jobs show %s"},

	"Printer":    {"Imprimante", "Impresora"},
	"any":        {"au choix", "cualquiera"},
	"Material":   {"Matière", "Material"},
	"Colour":     {"Couleur", "Color"},
	"Copies":     {"Exemplaires", "Copias"},
	"Plates":     {"Plateaux", "Tandas"},
	"Scale":      {"Échelle", "Escala"},
	"Size":       {"Dimensions", "Medidas"},
	"Layers":     {"Couches", "Capas"},
	"Shells":     {"Parois", "Contorno"},
	"Infill":     {"Remplissage", "Relleno"},
	"Supports":   {"Supports", "Soportes"},
	"On the bed": {"Sur le plateau", "Sobre la base"},
	"Time":       {"Durée", "Tiempo"},
	"Plastic":    {"Plastique", "Plástico"},

	"%d, with at most %d copies each":                                       {"%d, de %d exemplaires au plus", "%d, de %d copias como máximo"},
	"%s of the patron's file; the part beside this sheet is scaled already": {"%s du fichier de l’usager; la pièce jointe à cette fiche est déjà à l’échelle", "%s del archivo del usuario; la pieza junto a esta hoja ya está a escala"},
	"%s as sent":                        {"%s telle que reçue", "%s tal como se recibió"},
	"%s, %d layers":                     {"%s, %d couches", "%s, %d capas"},
	"%d lines":                          {"%d lignes", "%d líneas"},
	"%s the advised way up, %s as sent": {"%s dans le sens conseillé, %s telle que reçue", "%s en la posición aconsejada, %s tal como se recibió"},
	"%s (%s to %s)":                     {"%s (de %s à %s)", "%s (de %s a %s)"},

	"none, as the patron wishes":     {"aucun, à la demande de l’usager", "ninguno, como desea el usuario"},
	"of %s":                          {"en %s", "de %s"},
	"soluble material":               {"matière soluble", "material soluble"},
	"none needed the advised way up": {"aucun dans le sens conseillé", "ninguno en la posición aconsejada"},
	"where needed":                   {"là où il en faut", "donde hagan falta"},
	"none needed":                    {"aucun", "ninguno"},
	"none":                           {"rien", "nada"},
	"skirt":                          {"jupe", "falda"},
	"brim":                           {"bordure", "borde"},
	"raft":                           {"radeau", "balsa"},

	"No toy for children under three without a check; not for food without a coating; not for safety-critical or medical use. Local rules and licensed practice decide.": {
		"Pas un jouet pour les moins de trois ans sans vérification; pas pour les aliments sans revêtement; pas là où une rupture peut blesser, ni à des fins médicales. Les règlements locaux et les personnes autorisées décident.",
		"No es un juguete para menores de tres años sin comprobarlo; no para alimentos sin recubrimiento; no donde una rotura pueda herir ni para fines médicos. Deciden las normas locales y las personas autorizadas."},
	"Small enough to choke on (16 CFR 1501.4): hand it over with the warning.": {"Assez petite pour étouffer un enfant (16 CFR 1501.4) : remettez-la avec l’avertissement.", "Tan pequeña que un niño podría atragantarse (16 CFR 1501.4): entréguela con la advertencia."},
	"Support stubs may be sharp: take them off before it goes to the shelf.":   {"Les restes de supports peuvent couper : enlevez-les avant de ranger la pièce.", "Los restos de soportes pueden cortar: quítelos antes de guardarla."},
	"%s softens near %.0f °C.": {"Le %s ramollit vers %.0f °C.", "El %s se ablanda cerca de %.0f °C."},
}

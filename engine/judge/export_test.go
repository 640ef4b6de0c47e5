package judge

// Named lists all ids that this package names.
func Named() []string {
	var ids []string
	for _, causes := range codeChart {
		ids = append(ids, causes...)
	}
	for _, t := range triggers {
		ids = append(ids, t.id, t.danger)
	}
	for _, v := range volunteered {
		ids = append(ids, v.id)
	}
	return ids
}

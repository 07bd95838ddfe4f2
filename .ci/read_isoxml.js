// Reads task data with a reader that is not ours: any warning is a failure, and every field must have its lines.
const { ISOXMLManager } = require('isoxml')
const fs = require('fs')
const manager = new ISOXMLManager()
manager.parseISOXMLFile(fs.readFileSync(process.argv[2], 'utf8'), 'text/xml').then(() => {
  const warnings = manager.getWarnings()
  let lines = 0
  for (const field of manager.rootElement.attributes.Partfield || []) {
    for (const group of field.attributes.GuidanceGroup || []) lines += (group.attributes.GuidancePattern || []).length
    lines += (field.attributes.LineString || []).length
  }
  if (warnings.length || !lines) throw new Error(`${lines} lines; ${JSON.stringify(warnings)}`)
  console.log(`${process.argv[2]}: ${lines} lines, no warning`)
}).catch(error => { console.error(String(error)); process.exit(1) })

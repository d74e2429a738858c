'use strict'
const rows = [...document.querySelectorAll('#works li')], count = document.getElementById('count')
const fields = ['kind', 'year', 'went', 'state'].map(name => document.getElementById(name))
const words = document.getElementById('words')
function sift() {
  const wanted = words.value.normalize('NFC').toLowerCase().normalize('NFC').split(/\s+/).filter(Boolean)
  let shown = 0
  for (const row of rows) {
    const fits = wanted.every(word => row.dataset.words.includes(word)) && fields.every(field => {
      const value = field.value.replace(' ', '-')
      return !value || (field.id === 'went' || field.id === 'state' ? row.dataset[field.id].split(' ').includes(value) : row.dataset[field.id] === field.value)
    })
    row.hidden = !fits
    shown += fits
  }
  count.textContent = shown === rows.length ? '' : `${shown} of ${rows.length}`
}
words.addEventListener('input', sift)
for (const field of fields) field.addEventListener('change', sift)
sift()
